"""Verbs of the room: spools and printers out of service."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.hours import is_out_of_service
from printing.models import Outage, Printer, Room, Run, Spool
from printing.states import NotAllowedNow, Outcome

# a spool on the scale may hold a little more than its label says (common practice, no source)
OVERFULL_SHARE = 1.1


def _check_idle(printer: Printer) -> None:
    running = Run.objects.filter(printer=printer, outcome=Outcome.RUNNING).select_related("plate").first()
    if running:
        raise NotAllowedNow(
            _("%(printer)s is printing %(plate)s. First say how that went.")
            % {"printer": printer, "plate": running.plate}
        )


@transaction.atomic
def load_spool(spool: Spool, printer: Printer, actor: User) -> None:
    """Put a spool on a printer that is not printing; the one it held goes on the shelf."""
    permissions.check_can_handle(actor, spool)
    if printer.room_id != spool.room_id:
        raise NotAllowedNow(_("That printer stands in another room."))
    touch(spool.room_id)
    spool.refresh_from_db()
    if spool.printer_id == printer.pk:
        raise NotAllowedNow(_("This spool is on %(printer)s already.") % {"printer": printer})
    _check_idle(printer)
    if spool.printer is not None:
        _check_idle(spool.printer)
    before = Spool.objects.filter(printer=printer).first()
    Spool.objects.filter(printer=printer).update(printer=None)
    Spool.objects.filter(pk=spool.pk).update(printer=printer)
    record(
        spool.room.school_id, actor, "load_spool", spool, printer=printer.pk, instead_of=before.pk if before else None
    )
    want_plan(spool.room, f"{spool} loaded on {printer}")


@transaction.atomic
def weigh_spool(spool: Spool, gross_g: float, actor: User, now: datetime | None = None) -> float:
    """Note what spool and filament weigh together. Returns the grams of filament left.

    Raises NotAllowedNow when the figure cannot be right, or when the printer is just using it.
    """
    permissions.check_can_handle(actor, spool)
    touch(spool.room_id)
    spool.refresh_from_db()
    if spool.printer is not None:
        _check_idle(spool.printer)
    left_g = gross_g - spool.tare_g
    if left_g < 0:
        raise NotAllowedNow(_("That is less than the empty spool, %(tare)s g.") % {"tare": f"{spool.tare_g:.0f}"})
    if left_g > spool.grams_full * OVERFULL_SHARE:
        raise NotAllowedNow(
            _("That leaves %(left)s g on a spool of %(full)s g. Read the scale again.")
            % {"left": f"{left_g:.0f}", "full": f"{spool.grams_full:.0f}"}
        )
    Spool.objects.filter(pk=spool.pk).update(grams_left=left_g, weighed_at=now or timezone.now())
    record(
        spool.room.school_id, actor, "weigh_spool", spool, before_g=round(spool.grams_left, 1), left_g=round(left_g, 1)
    )
    want_plan(spool.room, f"{spool} weighed")
    return left_g


@transaction.atomic
def add_spool(room: Room, actor: User, material: str, colour: str, grams_full: float, tare_g: float) -> Spool:
    """A new, full spool on the shelf."""
    permissions.check_can_work_at_bench(actor, room)
    touch(room.pk)
    spool = Spool.objects.create(
        room=room, material=material, colour=colour, grams_full=grams_full, grams_left=grams_full, tare_g=tare_g
    )
    record(room.school_id, actor, "add_spool", spool, material=material, colour=colour, grams=grams_full)
    return spool


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
    _check_idle(printer)
    if until is not None and until <= now:
        raise NotAllowedNow(_("That time has passed already."))
    outage = Outage.objects.create(printer=printer, since=now, until=until, reason=reason)
    record(printer.room.school_id, actor, "set_out_of_service", printer, reason=reason)
    want_plan(printer.room, f"{printer} out of service: {reason}")
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
    want_plan(printer.room, f"{printer} back in service")
