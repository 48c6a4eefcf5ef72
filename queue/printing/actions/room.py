"""Verbs of the room: printers out of service."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import check_idle, touch, want_plan
from printing.causes import cause
from printing.hours import is_out_of_service
from printing.models import Outage, Printer
from printing.states import NotAllowedNow


@transaction.atomic
def set_out_of_service(
    printer: Printer, actor: User, reason: str, until: datetime | None = None, now: datetime | None = None
) -> Outage:
    """Nothing is planned on the printer until then; without ``until``, until somebody says otherwise."""
    permissions.check_can_serve(actor, printer)
    now = now or timezone.now()
    touch(printer.room_id)
    if is_out_of_service(printer, now):
        raise NotAllowedNow(_("%(printer)s is out of service already.") % {"printer": printer})
    check_idle(printer)
    if until is not None and until <= now:
        raise NotAllowedNow(_("That time has passed already."))
    outage = Outage.objects.create(printer=printer, since=now, until=until, reason=reason)
    record(printer.room.school_id, actor, "set_out_of_service", printer, reason=reason)
    want_plan(printer.room, cause("outage", printer=printer, reason=reason))
    return outage


@transaction.atomic
def back_in_service(printer: Printer, actor: User, now: datetime | None = None) -> None:
    """The printer works again."""
    permissions.check_can_serve(actor, printer)
    now = now or timezone.now()
    touch(printer.room_id)
    open_outages = printer.outages.filter(Q(until__isnull=True) | Q(until__gt=now), since__lte=now)
    if not open_outages.update(until=now):
        raise NotAllowedNow(_("%(printer)s is in service already.") % {"printer": printer})
    record(printer.room.school_id, actor, "back_in_service", printer)
    want_plan(printer.room, cause("back", printer=printer))
