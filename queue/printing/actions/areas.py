"""Verbs of the areas of a bed that stay free: keep one free, and use it again."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from planning.types import Area
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.bed_areas import code_of, standing_on, why_not
from printing.causes import cause
from printing.models import Plate, PrinterKind, Room
from printing.states import NotAllowedNow


@transaction.atomic
def keep_free(kind: PrinterKind, actor: User, area: Area, words: str) -> list[Plate]:
    """Nothing stands on the area any more, on any printer of the kind. ``words``: what is there, for whoever reads it.
    Every room with such printers is planned again. Returns the plates with a part on it, planned or printing.

    Raises NotAllowedNow with the reason when the area cannot be kept free.
    """
    permissions.check_can_keep_free(actor, kind)
    rooms = _touched(kind)
    row = PrinterKind.objects.select_for_update(no_key=True).get(pk=kind.pk)
    gap_mm = max((room.gap_mm for room in rooms), default=0.0)
    if told := why_not(row, area, gap_mm):
        raise NotAllowedNow(told)
    found = standing_on(row, area)
    row.keep_out = [*row.keep_out, [area.x_mm, area.y_mm, area.width_mm, area.depth_mm, words.strip()]]
    row.save(update_fields=["keep_out"])
    record(row.school_id, actor, "keep_free", row, area=code_of(area), words=words.strip())
    for room in rooms:
        want_plan(room, cause("area_kept", kind=row))
    return found


@transaction.atomic
def use_again(kind: PrinterKind, actor: User, code: str) -> None:
    """Parts may stand on the area again. Raises NotAllowedNow when it is not kept free any more."""
    permissions.check_can_keep_free(actor, kind)
    rooms = _touched(kind)
    row = PrinterKind.objects.select_for_update(no_key=True).get(pk=kind.pk)
    left = [each for each, area in zip(row.keep_out, row.areas(), strict=True) if code_of(area) != code]
    if len(left) == len(row.keep_out):
        raise NotAllowedNow(_("That area is not kept free any more."))
    row.keep_out = left
    row.save(update_fields=["keep_out"])
    record(row.school_id, actor, "use_again", row, area=code)
    for room in rooms:
        want_plan(room, cause("area_used", kind=row))


def _touched(kind: PrinterKind) -> list[Room]:
    """The rooms with such printers, each locked by its new revision."""
    rooms = list(Room.objects.filter(printers__kind=kind).distinct().order_by("pk"))
    for room in rooms:
        touch(room.pk)
    return rooms
