"""Whether an arrangement stands on a bed, and the bed that several kinds of printer have in common."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from planning.outlines import centred_hull, turned
from planning.types import Bed, Circle, Hull, Rectangle
from printing.planner.values import Kind, Laid, Place, WantedCopy

TOLERANCE_MM = 1e-6
TURNS_DEG = range(0, 180, 5)  # how a single part is turned to see whether a bed holds it at all


def common_bed(beds: Sequence[Bed]) -> Bed | None:
    """The largest simple bed that lies within all of them, centred; None for no beds at all.

    Rectangles meet in a rectangle and circles in a circle. A circle and a rectangle meet in the smaller of the two when
    one holds the other, else in the circle that touches the rectangle's nearer sides.
    """
    if not beds:
        return None
    height = min(bed.height_mm for bed in beds)
    margin = max(bed.margin_mm for bed in beds)
    circles = [bed.width_mm for bed in beds if bed.is_round]
    flat = [bed for bed in beds if not bed.is_round]
    if not flat:
        return Bed.circle(min(circles), height, margin)
    width, depth = min(bed.width_mm for bed in flat), min(bed.depth_mm for bed in flat)
    if not circles or math.hypot(width, depth) <= min(circles):
        return Bed.rectangle(width, depth, height, margin)
    return Bed.circle(min(*circles, width, depth), height, margin)


def moved(places: Iterable[Place], start: Bed, end: Bed) -> tuple[Place, ...]:
    """The same arrangement in the middle of another bed."""
    dx, dy = (end.width_mm - start.width_mm) / 2, (end.depth_mm - start.depth_mm) / 2
    return tuple(Place(place.copy_id, place.x_mm + dx, place.y_mm + dy, place.turn_deg) for place in places)


def why_not_on(laid: Laid, kind: Kind, copies: Mapping[int, WantedCopy], nozzle_mm: float) -> str | None:
    """Why a kind of printer cannot print this arrangement moved to the middle of its bed; None when it can."""
    if abs(kind.nozzle_mm - nozzle_mm) > TOLERANCE_MM:
        return f"has a {kind.nozzle_mm:g} mm nozzle, not {nozzle_mm:g} mm"
    tallest = max((copies[place.copy_id].source.height_mm for place in laid.places), default=0.0)
    if tallest > kind.bed.height_mm + TOLERANCE_MM:
        return f"cannot print {tallest:.0f} mm tall parts"
    middle = (kind.bed.width_mm / 2, kind.bed.depth_mm / 2)
    for place in moved(laid.places, laid.bed, kind.bed):
        copy = copies[place.copy_id]
        if not stands_on(copy, place, kind.bed):
            if not any(stands_on(copy, Place(copy.id, *middle, turn), kind.bed) for turn in TURNS_DEG):
                return f"cannot hold a {longest_mm(copy):.0f} mm {copy.part}"
            return f"has no bed that holds this arrangement of {len(laid.places)}"
    return None


def longest_mm(copy: WantedCopy) -> float:
    """How long the part is: a circle's diameter, a rectangle's longer side, a hull's longest diagonal."""
    footprint = copy.source.footprint
    if isinstance(footprint, Circle):
        return 2 * footprint.radius_mm
    if isinstance(footprint, Rectangle):
        return max(footprint.width_mm, footprint.depth_mm)
    corners = corners_of(footprint)
    return max(math.dist(one, other) for one in corners for other in corners)


def stands_on(copy: WantedCopy, place: Place, bed: Bed) -> bool:
    """Whether the copy's outline lies on the bed, clear of the margin."""
    middle = (bed.width_mm / 2, bed.depth_mm / 2)
    footprint = copy.source.footprint
    if isinstance(footprint, Circle):
        return _disc_on(place.x_mm - middle[0], place.y_mm - middle[1], footprint.radius_mm, bed)
    corners = [turned(corner, place.turn_deg) for corner in corners_of(footprint)]
    at = [(place.x_mm + x - middle[0], place.y_mm + y - middle[1]) for x, y in corners]
    return all(_disc_on(x, y, 0.0, bed) for x, y in at)


def corners_of(footprint: Rectangle | Hull) -> list[tuple[float, float]]:
    """Corners about the centre of the bounding box, before turning."""
    if isinstance(footprint, Hull):
        return centred_hull(footprint)
    x, y = footprint.width_mm / 2, footprint.depth_mm / 2
    return [(-x, -y), (x, -y), (x, y), (-x, y)]


def _disc_on(dx_mm: float, dy_mm: float, radius_mm: float, bed: Bed) -> bool:
    """A disc at that distance from the middle of the bed."""
    if bed.is_round:
        return math.hypot(dx_mm, dy_mm) + radius_mm <= bed.width_mm / 2 - bed.margin_mm + TOLERANCE_MM
    return (
        abs(dx_mm) + radius_mm <= bed.width_mm / 2 - bed.margin_mm + TOLERANCE_MM
        and abs(dy_mm) + radius_mm <= bed.depth_mm / 2 - bed.margin_mm + TOLERANCE_MM
    )
