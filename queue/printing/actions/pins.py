"""Verbs of fixing: a plate stays on a printer, at a time or behind another plate until somebody lets it go."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import causes, permissions, pins
from printing.actions.ground import touch, want_plan
from printing.models import Plate
from printing.pins import Pin
from printing.states import NotAllowedNow, PlateState


@transaction.atomic
def pin_plate(plate: Plate, actor: User, pin: Pin, now: datetime | None = None) -> None:
    """Fix a planned plate; what was fixed about it before is replaced.

    Raises NotAllowedNow with the reason when it cannot hold, or when the plate was started meanwhile.
    """
    plate = _fresh(plate)
    permissions.check_can_pin(actor, plate)
    if reason := pins.why_not(plate, pin, now or timezone.now()):
        raise NotAllowedNow(reason)
    Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED).update(
        pin_printer=pin.printer, pin_setup_at=pin.setup_at, pin_after=pin.after
    )
    plate.pin_printer, plate.pin_setup_at, plate.pin_after = pin.printer, pin.setup_at, pin.after
    record(
        plate.room.school_id,
        actor,
        "pin_plate",
        plate,
        printer=pin.printer.pk if pin.printer else None,
        setup_at=pin.setup_at.isoformat() if pin.setup_at else None,
        after=pin.after.pk if pin.after else None,
    )
    want_plan(plate.room, causes.fixed(plate))


def _fresh(plate: Plate) -> Plate:
    """The plate as it stands, with the room locked; a plan may have given it up."""
    touch(plate.room_id)
    row: Plate | None = Plate.objects.filter(pk=plate.pk).select_related("room", "pin_printer", "pin_after").first()
    if row is None:
        raise NotAllowedNow(_("%(plate)s is not in the plan any more.") % {"plate": plate})
    return row


@transaction.atomic
def unpin_plate(plate: Plate, actor: User) -> None:
    """Let it go: the plan may put it anywhere. Raises NotAllowedNow when nothing was fixed about it."""
    plate = _fresh(plate)
    permissions.check_can_pin(actor, plate)
    if not plate.is_pinned:
        raise NotAllowedNow(_("Nothing is fixed about %(plate)s.") % {"plate": plate})
    Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED).update(
        pin_printer=None, pin_setup_at=None, pin_after=None
    )
    record(plate.room.school_id, actor, "unpin_plate", plate)
    want_plan(plate.room, causes.cause("let_go", plate=plate))
