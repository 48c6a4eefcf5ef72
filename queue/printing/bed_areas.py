"""Areas of a bed that stay free: whether one may be added, and what stands on it now.

Lengths in mm from the front left corner of the bed; of a round bed, of the square around it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from makerlab.components.figures import millimetres
from planning.clearance import area_body, body_of, distance_mm, free_place
from planning.types import Area, Bed, Circle
from printing.by_hand import copies_by_id, stands_now
from printing.models import Plate, PrinterKind
from printing.planner.snapshot import bed_of
from printing.queries import placed_copies
from printing.states import PlateState

AREAS_MOST = 12
LEAST_PART_MM = 20.0  # a bed on which no part of this diameter finds a place is no bed any more (our own choice)
TOLERANCE_MM = 1e-6


@dataclass(frozen=True)
class KeptFree:
    """One area as the page shows it: its number on the picture, its place, and what is there."""

    number: int
    area: Area
    words: str
    label_x: float
    label_y: float

    @property
    def code(self) -> str:
        """What a removal names: the area itself, so that it cannot hit another one that took its number meanwhile."""
        return code_of(self.area)


def code_of(area: Area) -> str:
    return " ".join(f"{figure:g}" for figure in (area.x_mm, area.y_mm, area.width_mm, area.depth_mm))


def kept_free_of(kind: PrinterKind, boxes: Sequence[tuple[float, float, float, float]]) -> list[KeptFree]:
    """The areas of a kind's bed beside ``boxes``, where they are drawn."""
    rows = zip(kind.areas(), kind.area_words(), boxes, strict=True)
    return [
        KeptFree(at + 1, area, words, round(x + width / 2, 1), round(y + depth / 2, 1))
        for at, (area, words, (x, y, width, depth)) in enumerate(rows)
    ]


def why_not(kind: PrinterKind, area: Area, gap_mm: float) -> str:
    """Why the area cannot be kept free on that bed, in words; empty when it can."""
    bed = bed_of(kind)
    if len(kind.keep_out) >= AREAS_MOST:
        return _("There are %(count)d areas already. Take one away, or make one larger instead.") % {
            "count": AREAS_MOST
        }
    if beyond := _beyond(area, bed):
        return beyond
    for number, other in enumerate(kind.areas(), start=1):
        if _holds(other, area):
            return _("Area %(number)d keeps that free already.") % {"number": number}
    narrowed = replace(bed, keep_out=(*bed.keep_out, area))
    if free_place("part", [], {"part": Circle(LEAST_PART_MM / 2)}, narrowed, gap_mm) is None:
        return _("So little of the bed would be left that not even a part of %(size)s has a place on it.") % {
            "size": millimetres(LEAST_PART_MM, 0)
        }
    return ""


def _beyond(area: Area, bed: Bed) -> str:
    """How far it reaches past an edge; of a round bed, whether it touches the disc at all."""
    right, back = area.x_mm + area.width_mm - bed.width_mm, area.y_mm + area.depth_mm - bed.depth_mm
    if right > TOLERANCE_MM:
        return _("It reaches %(over)s beyond the right edge: the bed is %(size)s wide.") % {
            "over": millimetres(right, 1),
            "size": millimetres(bed.width_mm, 0),
        }
    if back > TOLERANCE_MM:
        return _("It reaches %(over)s beyond the back edge: the bed is %(size)s deep.") % {
            "over": millimetres(back, 1),
            "size": millimetres(bed.depth_mm, 0),
        }
    if bed.is_round:
        middle = bed.width_mm / 2
        x = min(max(middle, area.x_mm), area.x_mm + area.width_mm)
        y = min(max(middle, area.y_mm), area.y_mm + area.depth_mm)
        if math.hypot(x - middle, y - middle) >= middle:
            return _("It lies outside the round bed, where nothing stands anyway.")
    return ""


def _holds(outer: Area, inner: Area) -> bool:
    return (
        outer.x_mm <= inner.x_mm + TOLERANCE_MM
        and outer.y_mm <= inner.y_mm + TOLERANCE_MM
        and outer.x_mm + outer.width_mm >= inner.x_mm + inner.width_mm - TOLERANCE_MM
        and outer.y_mm + outer.depth_mm >= inner.y_mm + inner.depth_mm - TOLERANCE_MM
    )


def standing_on(kind: PrinterKind, area: Area) -> list[Plate]:
    """Plates planned for or printing on printers of that kind, with a part on the area."""
    plates = Plate.objects.filter(printer__kind=kind, state__in=[PlateState.PLANNED, PlateState.PRINTING])
    return [plate for plate in plates.order_by("number") if _stands(plate, kind, area)]


def _stands(plate: Plate, kind: PrinterKind, area: Area) -> bool:
    copies = placed_copies(plate)
    known = copies_by_id(copies)
    block, (middle_x, middle_y) = area_body(area)
    for stand in stands_now(plate, copies, kind):
        if stand.copy_id in known and stand.x_mm is not None and stand.y_mm is not None:
            body = body_of(known[stand.copy_id].source.footprint, stand.turn_deg)
            if distance_mm(block, body, stand.x_mm - middle_x, stand.y_mm - middle_y) < -TOLERANCE_MM:
                return True
    return False
