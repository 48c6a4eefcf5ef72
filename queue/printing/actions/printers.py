"""Verbs of the printers a room has: one more, and whether one may run with nobody in the room."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.models import Printer, Room
from printing.states import NotAllowedNow


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
    want_plan(room, f"{printer} was added")
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
    want_plan(printer.room, f"{printer} {'may' if allowed else 'may not'} print with nobody in the room")
