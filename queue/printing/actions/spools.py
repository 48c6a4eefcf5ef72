"""Verbs of the spools: load, weigh, add, describe; and what an empty one weighs."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from planning.spools import Weighed, weighed
from printing import permissions
from printing.actions.ground import check_idle, touch, want_plan
from printing.causes import cause
from printing.models import EmptySpool, Printer, Room, Spool
from printing.states import NotAllowedNow

# a spool on the scale may hold a little more than its label says (common practice, no source)
OVERFULL_SHARE = 1.1


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
    check_idle(printer)
    if spool.printer is not None:
        check_idle(spool.printer)
    before = Spool.objects.filter(printer=printer).first()
    Spool.objects.filter(printer=printer).update(printer=None)
    Spool.objects.filter(pk=spool.pk).update(printer=printer)
    record(
        spool.room.school_id, actor, "load_spool", spool, printer=printer.pk, instead_of=before.pk if before else None
    )
    want_plan(spool.room, cause("spool_loaded", spool=spool, printer=printer))


@transaction.atomic
def weigh_spool(spool: Spool, gross_g: float, actor: User, now: datetime | None = None) -> Weighed:
    """Note what spool and filament weigh together. Returns the filament left, with how well that is known.

    Raises NotAllowedNow when the figure cannot be right, when nobody knows what the empty spool weighs, or when the
    printer is just using it.
    """
    permissions.check_can_handle(actor, spool)
    touch(spool.room_id)
    spool.refresh_from_db()
    if spool.printer is not None:
        check_idle(spool.printer)
    if spool.tare_g is None:
        raise NotAllowedNow(
            _("Nobody knows yet what the empty spool weighs. Weigh an empty one of this kind, or read its label.")
        )
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
    want_plan(spool.room, cause("spool_weighed", spool=spool))
    return weighed(gross_g, spool.tare_g, full_g=spool.grams_full)


@transaction.atomic
def add_spool(
    room: Room,
    actor: User,
    material: str,
    colour: str,
    grams_full: float,
    tare_g: float | None = None,
    maker: str = "",
    price_per_kg: Decimal | None = None,
) -> Spool:
    """A new, full spool on the shelf. Without ``tare_g`` the room's own weighing of that kind of spool counts."""
    permissions.check_can_work_at_bench(actor, room)
    touch(room.pk)
    spool = Spool.objects.create(
        room=room,
        material=material,
        colour=colour,
        maker=maker,
        grams_full=grams_full,
        grams_left=grams_full,
        tare_g=known_tare_g(room, maker, grams_full) if tare_g is None else tare_g,
        price_per_kg=price_per_kg,
    )
    record(room.school_id, actor, "add_spool", spool, material=material, colour=colour, grams=grams_full)
    return spool


@transaction.atomic
def describe_spool(spool: Spool, actor: User, maker: str, tare_g: float | None, price_per_kg: Decimal | None) -> None:
    """Whose spool it is, what it weighs empty and what a kilogram on it cost."""
    permissions.check_can_handle(actor, spool)
    touch(spool.room_id)
    tare_g = known_tare_g(spool.room, maker, spool.grams_full) if tare_g is None else tare_g
    Spool.objects.filter(pk=spool.pk).update(maker=maker, tare_g=tare_g, price_per_kg=price_per_kg)
    price = None if price_per_kg is None else str(price_per_kg)
    record(spool.room.school_id, actor, "describe_spool", spool, maker=maker, tare_g=tare_g, price_per_kg=price)


@transaction.atomic
def weigh_empty(
    room: Room, actor: User, maker: str, grams_full: float, tare_g: float, now: datetime | None = None
) -> int:
    """Note what an empty spool of a kind weighs; all of the room's spools of that kind take it over. Returns how many
    those are."""
    permissions.check_can_work_at_bench(actor, room)
    touch(room.pk)
    EmptySpool.objects.update_or_create(
        room=room, maker=maker, grams_full=grams_full, defaults={"tare_g": tare_g, "weighed_at": now or timezone.now()}
    )
    taken = room.spools.filter(maker__iexact=maker, grams_full=grams_full).update(tare_g=tare_g)
    record(room.school_id, actor, "weigh_empty", room, maker=maker, grams_full=grams_full, tare_g=tare_g)
    return taken


def known_tare_g(room: Room, maker: str, grams_full: float) -> float | None:
    """What the room has weighed of that kind of spool; None when it has not."""
    row = EmptySpool.objects.filter(room=room, maker__iexact=maker, grams_full=grams_full).first() if maker else None
    return row.tare_g if row else None
