"""Verbs of an administrator who sets a room up: the room and its hours, the school's permission for printing with
nobody there, kinds of printer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from lessons.models import DayKind
from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.models import Printer, PrinterKind, Room, RoomHours
from printing.set_up.hours_text import Span
from printing.states import NotAllowedNow


@transaction.atomic
def save_room(
    actor: User, room: Room | None, values: Mapping[str, Any], hours: Mapping[DayKind, Sequence[Span]]
) -> Room:
    """Make or change a room: ``values`` are its name, minutes and gap; ``hours`` when, on each kind of day, somebody is
    there. Raises NotAllowedNow when another room has the name."""
    permissions.check_can_set_up(actor)
    if room is None:
        room = Room(school_id=actor.school_id)
    else:
        _of_school(actor, room.school_id)
        touch(room.pk)
    try:
        with transaction.atomic():
            if room.pk is None:
                for name, value in values.items():
                    setattr(room, name, value)
                room.save()
            else:
                Room.objects.filter(pk=room.pk).update(**values)
                room.refresh_from_db()
    except IntegrityError:
        told = _("There is a room called %(name)s already.") % {"name": values["name"]}
        raise NotAllowedNow(told) from None
    for kind, spans in hours.items():
        _of_school(actor, kind.school_id)
        RoomHours.objects.filter(room=room, day_kind=kind).delete()
        RoomHours.objects.bulk_create(
            RoomHours(room=room, day_kind=kind, starts_at=span.starts_at, ends_at=span.ends_at, staff=span.staff)
            for span in spans
        )
    said = {kind.name: [str(span) for span in spans] for kind, spans in hours.items()}
    record(room.school_id, actor, "save_room", room, hours=said, **dict(values))
    want_plan(room, cause("room", room=room))
    return room


@transaction.atomic
def permit_unattended(room: Room, actor: User, policy: str) -> None:
    """Note the school's written permission for printing in this room with nobody there; empty: it is withdrawn. Which
    printers may is said of each. Raises NotAllowedNow when nothing would change."""
    permissions.check_can_set_up(actor)
    _of_school(actor, room.school_id)
    touch(room.pk)
    policy = policy.strip()
    changed = Room.objects.filter(pk=room.pk).exclude(unattended_allowed=bool(policy), unattended_policy=policy)
    if not changed.update(unattended_allowed=bool(policy), unattended_policy=policy):
        raise NotAllowedNow(_("That is so already for %(room)s.") % {"room": room})
    if not policy:
        Printer.objects.filter(room=room).update(may_run_unattended=False)
    record(room.school_id, actor, "permit_unattended" if policy else "forbid_unattended", room, policy=policy)
    want_plan(room, cause("unattended" if policy else "attended"))


@transaction.atomic
def save_kind(
    actor: User, kind: PrinterKind | None, values: Mapping[str, Any], machine: Mapping[str, float]
) -> PrinterKind:
    """Make or change a kind of printer. ``machine`` holds the figures that differ from the usual ones. Every room with
    such printers is planned again. Raises NotAllowedNow when another kind has the name."""
    permissions.check_can_set_up(actor)
    if kind is None:
        kind = PrinterKind(school_id=actor.school_id)
    _of_school(actor, kind.school_id)
    twin = PrinterKind.objects.filter(school_id=actor.school_id, name__iexact=values["name"]).exclude(pk=kind.pk)
    if twin.exists():
        raise NotAllowedNow(_("There is a kind called %(name)s already.") % {"name": values["name"]})
    for name, value in values.items():
        setattr(kind, name, value)
    kind.machine = dict(machine)
    kind.save()
    record(kind.school_id, actor, "save_printer_kind", kind, machine=kind.machine, **dict(values))
    for room in Room.objects.filter(printers__kind=kind).distinct():
        touch(room.pk)
        want_plan(room, cause("kind_described", kind=kind))
    return kind


@transaction.atomic
def remove_kind(kind: PrinterKind, actor: User) -> None:
    """Raises NotAllowedNow while a printer is of the kind."""
    permissions.check_can_set_up(actor)
    _of_school(actor, kind.school_id)
    if kind.printers.exists():
        raise NotAllowedNow(_("There are printers of the kind %(kind)s.") % {"kind": kind})
    record(kind.school_id, actor, "remove_printer_kind", kind, name=kind.name)
    kind.delete()


def _of_school(actor: User, school_id: int) -> None:
    if actor.school_id != school_id:
        raise PermissionDenied
