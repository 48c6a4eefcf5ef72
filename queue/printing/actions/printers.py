"""Verbs of the printers a room has: described, one more, taken away, and whether one may print with
nobody in the room."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import check_idle, touch, want_plan
from printing.causes import cause
from printing.models import Printer, PrinterKind, Room
from printing.states import NotAllowedNow, PlateState


@transaction.atomic
def add_printer(room: Room, actor: User, like: Printer) -> Printer:
    """One more printer of that kind, named after it with a number; its spool is loaded when it is there.

    Raises NotAllowedNow when the other one stands in another room.
    """
    permissions.check_can_change_printers(actor, room)
    if like.room_id != room.pk:
        raise NotAllowedNow(_("That printer stands in another room."))
    touch(room.pk)
    names = set(Printer.objects.filter(room=room).values_list("name", flat=True))
    number = next(number for number in range(2, 1000) if f"{like.name} {number}" not in names)
    last = Printer.objects.filter(room=room).aggregate(last=Max("position"))["last"] or 0
    printer = Printer.objects.create(
        room=room, kind=like.kind, name=f"{like.name} {number}", icon=like.icon, position=last + 1
    )
    record(room.school_id, actor, "add_printer", printer, like=like.pk, name=printer.name)
    want_plan(room, cause("printer_added", printer=printer))
    return printer


@transaction.atomic
def set_unattended(printer: Printer, actor: User, allowed: bool) -> None:
    """Whether this printer may print with nobody in the room. Raises NotAllowedNow while the room does not allow it at
    all: that takes the school's written permission."""
    permissions.check_can_change_printers(actor, printer.room)
    touch(printer.room_id)
    if allowed and not Room.objects.filter(pk=printer.room_id, unattended_allowed=True).exists():
        raise NotAllowedNow(_("The school does not allow printing in this room with nobody there."))
    changed = Printer.objects.filter(pk=printer.pk).exclude(may_run_unattended=allowed)
    if not changed.update(may_run_unattended=allowed):
        raise NotAllowedNow(_("That is so already for %(printer)s.") % {"printer": printer})
    record(printer.room.school_id, actor, "set_unattended", printer, allowed=allowed)
    want_plan(printer.room, cause("printer_unattended" if allowed else "printer_attended", printer=printer))


@transaction.atomic
def save_printer(actor: User, room: Room, printer: Printer | None, name: str, kind: PrinterKind) -> Printer:
    """Put a printer into a room, or change its name or kind. Raises NotAllowedNow when the name is taken there, or when
    the printer prints just now."""
    permissions.check_can_change_printers(actor, room)
    if kind.school_id != room.school_id:
        raise PermissionDenied
    touch(room.pk)
    if Printer.objects.filter(room=room, name__iexact=name).exclude(pk=printer.pk if printer else None).exists():
        raise NotAllowedNow(_("There is a printer called %(name)s in %(room)s already.") % {"name": name, "room": room})
    if printer is None:
        last = Printer.objects.filter(room=room).aggregate(last=Max("position"))["last"] or 0
        printer = Printer(room=room, position=last + 1)
    elif printer.kind_id != kind.pk:
        check_idle(printer)
    printer.name, printer.kind = name, kind
    printer.save()
    record(room.school_id, actor, "save_printer", printer, name=name, kind=kind.pk)
    want_plan(room, cause("printer_described", printer=printer))
    return printer


@transaction.atomic
def remove_printer(printer: Printer, actor: User) -> None:
    """Take away a printer that never printed. Raises NotAllowedNow for one that did: its runs are on record, so it is
    set out of service instead."""
    room = printer.room
    permissions.check_can_change_printers(actor, room)
    touch(room.pk)
    if printer.runs.exists():
        told = _("%(printer)s has printed: its runs stay on record. Set it out of service at the bench instead.")
        raise NotAllowedNow(told % {"printer": printer})
    record(room.school_id, actor, "remove_printer", printer, name=printer.name)
    printer.plates.filter(state=PlateState.PLANNED).update(
        printer=None, setup_at=None, starts_at=None, ends_at=None, cleared_at=None
    )
    printer.delete()
    want_plan(room, cause("printer_removed", printer=printer.name))
