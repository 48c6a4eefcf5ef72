"""Whether an arrangement stands on a bed, and the bed that several kinds of printer have in common."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from planning.clearance import area_body, body_of, corners_of, distance_mm, room_mm
from planning.types import Area, Bed, Circle, Rectangle
from printing.planner.values import Kind, Laid, Place, WantedCopy
from telling import told

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
        return _with_areas(Bed.circle(min(circles), height, margin), beds)
    width, depth = min(bed.width_mm for bed in flat), min(bed.depth_mm for bed in flat)
    if not circles or math.hypot(width, depth) <= min(circles):
        return _with_areas(Bed.rectangle(width, depth, height, margin), beds)
    return _with_areas(Bed.circle(min(*circles, width, depth), height, margin), beds)


def _with_areas(common: Bed, beds: Sequence[Bed]) -> Bed:
    """The bed with the areas that any of the others keeps free, as they lie when all have one middle."""
    areas = {
        Area(
            area.x_mm + (common.width_mm - bed.width_mm) / 2,
            area.y_mm + (common.depth_mm - bed.depth_mm) / 2,
            area.width_mm,
            area.depth_mm,
        ): None
        for bed in beds
        for area in bed.keep_out
    }
    return replace(common, keep_out=tuple(areas))


def moved(places: Iterable[Place], start: Bed, end: Bed) -> tuple[Place, ...]:
    """The same arrangement in the middle of another bed."""
    dx, dy = (end.width_mm - start.width_mm) / 2, (end.depth_mm - start.depth_mm) / 2
    return tuple(Place(place.copy_id, place.x_mm + dx, place.y_mm + dy, place.turn_deg) for place in places)


def why_not_on(laid: Laid, kind: Kind, copies: Mapping[int, WantedCopy], nozzle_mm: float) -> str | None:
    """Why a kind of printer cannot print this arrangement moved to the middle of its bed; None when it can."""
    if abs(kind.nozzle_mm - nozzle_mm) > TOLERANCE_MM:
        return told("has a {there:g} mm nozzle, not {wanted:g} mm", there=kind.nozzle_mm, wanted=nozzle_mm)
    tallest = max((copies[place.copy_id].source.height_mm for place in laid.places), default=0.0)
    if tallest > kind.bed.height_mm + TOLERANCE_MM:
        return told("cannot print {height:.0f} mm tall parts", height=tallest)
    middle = (kind.bed.width_mm / 2, kind.bed.depth_mm / 2)
    for place in moved(laid.places, laid.bed, kind.bed):
        copy = copies[place.copy_id]
        if not stands_on(copy, place, kind.bed):
            if not any(stands_on(copy, Place(copy.id, *middle, turn), kind.bed) for turn in TURNS_DEG):
                return told("cannot hold a {length:.0f} mm {part}", length=longest_mm(copy), part=copy.part)
            return told("has no bed that holds this arrangement of {count}", count=len(laid.places))
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
    """Whether the copy's outline lies on the bed, clear of the margin and of the areas kept free."""
    body = body_of(copy.source.footprint, place.turn_deg)
    if room_mm(body, place.x_mm, place.y_mm, bed) < -TOLERANCE_MM:
        return False
    return all(
        distance_mm(block, body, place.x_mm - x, place.y_mm - y) >= -TOLERANCE_MM
        for block, (x, y) in map(area_body, bed.keep_out)
    )
