"""Make a what-if so: each change by its ordinary verb, with its own permission and record; all of them or none."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.actions.print_settings import set_print_settings
from lessons.models import Assignment, Meeting
from lessons.print_settings import own_changes
from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import actions, permissions
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.models import Printer, Room, WhatIf
from printing.states import NotAllowedNow
from printing.whatif.changes import Changes
from printing.whatif.words import Names, lines

Verb = Callable[[], Any]


@transaction.atomic
def apply_what_if(what_if: WhatIf, actor: User) -> None:
    """All changes at once. Raises NotAllowedNow with what stands in the way, and then nothing is changed."""
    touch(what_if.room_id)
    what_if.refresh_from_db()
    permissions.check_can_try(actor, what_if)
    if what_if.answer.get("applied_at"):
        raise NotAllowedNow(_("This was applied already."))
    changes = Changes.from_json(what_if.changes)
    if changes.is_empty:
        raise NotAllowedNow(_("Nothing is changed in it."))
    room = what_if.room
    words = [line.words for line in lines(changes, Names(room, actor))]
    for verb, told in zip(verbs(room, actor, changes), words, strict=True):
        _do(verb, told)
    what_if.answer = what_if.answer | {"applied_at": timezone.now().isoformat()}
    what_if.save(update_fields=["answer"])
    record(room.school_id, actor, "apply_what_if", what_if, changes=what_if.changes)
    want_plan(room, cause("tried", actor))


def _do(verb: Verb, told: str) -> None:
    """Any refusal is told with the change it is about; the transaction undoes the rest."""
    try:
        verb()
    except PermissionDenied as error:
        words = _("%(change)s: that is for somebody else to do. Nothing was changed.") % {"change": told}
        raise NotAllowedNow(words) from error
    except (NotAllowedNow, ValueError) as error:
        raise NotAllowedNow(
            _("%(change)s: %(reason)s Nothing was changed.") % {"change": told, "reason": str(error)}
        ) from error


def verbs(room: Room, actor: User, changes: Changes) -> Iterator[Verb]:
    """One for each change, in the order of ``words.lines``."""
    printers = {printer.pk: printer for printer in Printer.objects.filter(room=room).select_related("room", "kind")}
    for pk in changes.out:
        yield partial(_take_out, printers, pk, actor)
    for pk in changes.back:
        yield partial(_bring_back, printers, pk, actor)
    for pk in changes.added:
        yield partial(_add, room, actor, printers, pk)
    for each in changes.hours:
        yield partial(actions.add_extra_hours, room, actor, each.day, each.starts_at, each.ends_at, each.staff)
    if changes.unattended is not None:
        for pk, printer in printers.items():
            if printer.may_run_unattended != (pk in changes.unattended):
                yield partial(actions.set_unattended, printer, actor, pk in changes.unattended)
    for pk, share in changes.infill.items():
        yield partial(_set_infill, actor, pk, share)
    for pk, at in changes.meetings.items():
        yield partial(_move, actor, pk, at)
    for pk, more in changes.spares.items():
        yield partial(_order_spares, actor, pk, more)


def _take_out(printers: dict[int, Printer], pk: int, actor: User) -> None:
    actions.set_out_of_service(_one(printers, pk), actor, _("as tried in a what-if"))


def _bring_back(printers: dict[int, Printer], pk: int, actor: User) -> None:
    actions.back_in_service(_one(printers, pk), actor)


def _add(room: Room, actor: User, printers: dict[int, Printer], pk: int) -> None:
    actions.add_printer(room, actor, _one(printers, pk))


def _order_spares(actor: User, pk: int, more: int) -> None:
    actions.order_spares(_assignment(actor, pk), actor, more)


def _one(printers: dict[int, Printer], pk: int) -> Printer:
    if pk not in printers:
        raise NotAllowedNow(_("That printer is not in the room any more."))
    return printers[pk]


def _assignment(actor: User, pk: int) -> Assignment:
    row = Assignment.objects.visible_to(actor).select_related("plan", "school_class", "meeting").filter(pk=pk).first()
    if row is None:
        raise NotAllowedNow(_("That lesson is not given to the class any more."))
    return row


def _set_infill(actor: User, pk: int, share: float) -> None:
    """Every part of the kit that the class gets printed."""
    assignment = _assignment(actor, pk)
    for kit_part in assignment.plan.kit_parts.all():
        chosen = own_changes(kit_part, assignment) | {"infill_share": share}
        set_print_settings(actor, kit_part, assignment, chosen)


def _move(actor: User, pk: int, at: datetime) -> None:
    """The lab period keeps its length; the limits for files stay, but never after it begins."""
    from lessons.actions.meetings import move_meeting
    from lessons.classes.moving import KEEP, work_out
    from lessons.school_days import Slot

    meeting = Meeting.objects.visible_to(actor).select_related("school_class__school").filter(pk=pk).first()
    if meeting is None:
        raise NotAllowedNow(_("That meeting is not there any more."))
    length: timedelta = meeting.ends_at - meeting.starts_at
    day = at.astimezone(ZoneInfo(meeting.school_class.school.time_zone)).date()
    slot = Slot(day, meeting.period, at, at + length)
    move_meeting(actor, meeting, slot, KEEP, work_out(meeting, slot, KEEP).seen)
