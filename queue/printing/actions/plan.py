"""Verbs by which staff steer the plan of a room: the plate size, extra hours, what one has seen of its changes."""

from __future__ import annotations

from datetime import date, time
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.hours import read_bells
from printing.models import ExtraHours, PlanLook, Room, RoomPlan
from printing.planner.ways import WAYS
from printing.states import NotAllowedNow

AHEAD_DAYS = 150  # as far as a room is planned


@transaction.atomic
def choose_plate_size(room: Room, actor: User, code: str) -> None:
    """Lay the room out in that way from now on; empty: in the best. Raises NotAllowedNow for a way there is not."""
    permissions.check_can_choose_plate_size(actor, room)
    if code and code not in {way.code for way in WAYS}:
        raise NotAllowedNow(_("There is no such plate size."))
    touch(room.pk)
    if not Room.objects.filter(pk=room.pk).exclude(plate_size=code).update(plate_size=code):
        raise NotAllowedNow(_("The room is laid out in that way already."))
    record(room.school_id, actor, "choose_plate_size", room, code=code)
    want_plan(room, cause("plate_size" if code else "plate_size_free"))


@transaction.atomic
def add_extra_hours(room: Room, actor: User, day: date, starts_at: time, ends_at: time, staff: int = 1) -> ExtraHours:
    """Somebody is there on that date beyond the usual hours. Raises NotAllowedNow for a time that is over, lies too far
    ahead, ends before it starts, or is noted already."""
    permissions.check_can_set_hours(actor, room)
    touch(room.pk)
    bells = read_bells(room)
    now = timezone.now().astimezone(bells.zone)
    if ends_at <= starts_at:
        raise NotAllowedNow(_("The hours must end after they start, on the same day."))
    if (day, ends_at) <= (now.date(), now.time()):
        raise NotAllowedNow(_("That time is over."))
    if (day - now.date()).days > AHEAD_DAYS:
        raise NotAllowedNow(_("That is more than %(days)d days ahead.") % {"days": AHEAD_DAYS})
    if staff < 1:
        raise NotAllowedNow(_("At least one person must be there."))
    try:
        with transaction.atomic():
            span = ExtraHours.objects.create(room=room, date=day, starts_at=starts_at, ends_at=ends_at, staff=staff)
    except IntegrityError:
        raise NotAllowedNow(_("Extra hours from then are noted already. Remove them first.")) from None
    record(room.school_id, actor, "add_extra_hours", room, date=day.isoformat(), hours=str(span))
    want_plan(room, _hours("hours_added", span))
    return span


@transaction.atomic
def remove_extra_hours(span: ExtraHours, actor: User) -> None:
    """Nobody comes then after all. Raises NotAllowedNow when they were removed already."""
    permissions.check_can_set_hours(actor, span.room)
    touch(span.room_id)
    removed, _rows = ExtraHours.objects.filter(pk=span.pk).delete()
    if not removed:
        raise NotAllowedNow(_("These hours are removed already."))
    record(span.room.school_id, actor, "remove_extra_hours", span.room, date=span.date.isoformat(), hours=str(span))
    want_plan(span.room, _hours("hours_removed", span))


def _hours(code: str, span: ExtraHours) -> dict[str, Any]:
    hours = (f"{span.starts_at:%H:%M}", f"{span.ends_at:%H:%M}")
    return cause(code, day=span.date.isoformat(), begins=hours[0], ends=hours[1])


@transaction.atomic
def note_look(room: Room, actor: User, plan_id: int) -> None:
    """This person has seen what changed up to that plan; an older one than noted changes nothing."""
    permissions.check_can_see_room(actor, room)
    newest = RoomPlan.objects.filter(room=room).values_list("pk", flat=True).first() or 0
    look, _made = PlanLook.objects.get_or_create(user=actor, room=room)
    PlanLook.objects.filter(pk=look.pk, plan_id__lt=min(plan_id, newest)).update(plan_id=min(plan_id, newest))
