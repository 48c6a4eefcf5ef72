"""Whether copies stand where they may: on the bed inside its margin, clear of areas kept free, apart by the gap.

Exact for circles, turned rectangles and hulls. Each outline is a convex polygon grown by a radius (a circle is one
corner and its radius). Two of them are as far apart as the origin is from the difference of their polygons, less both
radii (the Minkowski difference: T. Lozano-Perez, "Spatial planning: a configuration space approach", IEEE Transactions
on Computers C-32, 1983); inside the difference the distance is negative, the least shift that separates them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planning.outlines import Point, centred_hull, turned
from planning.types import Area, Bed, Circle, Footprint, Hull, PlacedItem, Rectangle

TOLERANCE_MM = 1e-6
RASTER_MM = 1.0
TURNS_DEG = (0.0, 90.0, 45.0, 135.0)
Floats = NDArray[np.float64]


class Rule(StrEnum):
    """What an arrangement can break."""

    EDGE = "edge"  # inside the bed's margin, or over its edge
    KEPT_FREE = "kept free"
    GAP = "gap"  # two copies nearer than the gap
    OVERLAP = "overlap"


@dataclass(frozen=True, slots=True)
class Breach:
    """A rule that one copy, or two, break. ``distance_mm``: past the margin's inner line (EDGE), to the area kept free,
    or between the two copies; 0 where they overlap."""

    rule: Rule
    item_ids: tuple[str, ...]
    distance_mm: float


@dataclass(frozen=True, slots=True)
class Body:
    """A turned outline: convex corners anticlockwise about the footprint's centre, and the radius grown around them."""

    corners: tuple[Point, ...]
    radius_mm: float
    reach_mm: float  # no point of it is further from the centre


@lru_cache(maxsize=4096)
def body_of(footprint: Footprint, turn_deg: float) -> Body:
    """The outline as it stands."""
    if isinstance(footprint, Circle):
        return Body(((0.0, 0.0),), footprint.radius_mm, footprint.radius_mm)
    corners = tuple(turned(corner, turn_deg) for corner in corners_of(footprint))
    return Body(corners, 0.0, max(math.hypot(x, y) for x, y in corners))


def corners_of(footprint: Rectangle | Hull) -> list[Point]:
    """Corners anticlockwise about the centre of the bounding box, before turning."""
    if isinstance(footprint, Hull):
        return centred_hull(footprint)
    x, y = footprint.width_mm / 2, footprint.depth_mm / 2
    return [(-x, -y), (x, -y), (x, y), (-x, y)]


@lru_cache(maxsize=8192)
def difference(still: tuple[Point, ...], moving: tuple[Point, ...]) -> tuple[Point, ...]:
    """Where the moving polygon's centre may not be, about the still one's: the convex polygon of all differences of
    their points, corners anticlockwise. Both are convex and anticlockwise; a single corner is a polygon too."""
    first = _from_lowest(still)
    second = _from_lowest([(-x, -y) for x, y in moving])
    sides = sorted(_sides(first) + _sides(second), key=_angle)
    corners = [(first[0][0] + second[0][0], first[0][1] + second[0][1])]
    for dx, dy in sides[:-1]:
        corners.append((corners[-1][0] + dx, corners[-1][1] + dy))
    return tuple(corners)


def _from_lowest(corners: Sequence[Point]) -> list[Point]:
    start = min(range(len(corners)), key=lambda at: (corners[at][1], corners[at][0]))
    return [*corners[start:], *corners[:start]]


def _sides(corners: Sequence[Point]) -> list[Point]:
    if len(corners) == 1:
        return []
    following = [*corners[1:], corners[0]]
    return [(b[0] - a[0], b[1] - a[1]) for a, b in zip(corners, following, strict=True)]


def _angle(side: Point) -> float:
    """0 to 2 pi from the x axis: the order of the sides from the lowest corner on."""
    return math.atan2(side[1], side[0]) % (2 * math.pi)


def signed_distance(corners: tuple[Point, ...], x_mm: float, y_mm: float) -> float:
    """From a point to a convex polygon; negative inside."""
    if len(corners) == 1:
        return math.hypot(x_mm - corners[0][0], y_mm - corners[0][1])
    inside, outside = -math.inf, math.inf
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        dx, dy, px, py = bx - ax, by - ay, x_mm - ax, y_mm - ay
        length = math.hypot(dx, dy)
        if length < 1e-12:
            continue
        inside = max(inside, (px * dy - py * dx) / length)
        along = min(1.0, max(0.0, (px * dx + py * dy) / length**2))
        outside = min(outside, math.hypot(px - along * dx, py - along * dy))
    return inside if inside <= 0 else outside


def distance_mm(one: Body, other: Body, dx_mm: float, dy_mm: float) -> float:
    """Between two outlines, the other's centre that far from the one's; negative when they overlap."""
    between = signed_distance(difference(one.corners, other.corners), dx_mm, dy_mm)
    return between - one.radius_mm - other.radius_mm


def room_mm(body: Body, x_mm: float, y_mm: float, bed: Bed) -> float:
    """From the outline to the inner line of the bed's margin; negative when it is past that line."""
    x, y = x_mm - bed.width_mm / 2, y_mm - bed.depth_mm / 2
    at = [(x + cx, y + cy) for cx, cy in body.corners]
    if bed.is_round:
        return bed.width_mm / 2 - bed.margin_mm - body.radius_mm - max(math.hypot(cx, cy) for cx, cy in at)
    beside = bed.width_mm / 2 - max(abs(cx) for cx, _ in at)
    behind = bed.depth_mm / 2 - max(abs(cy) for _, cy in at)
    return min(beside, behind) - bed.margin_mm - body.radius_mm


def area_body(area: Area) -> tuple[Body, Point]:
    """An area kept free as an outline, and its centre on the bed."""
    middle = (area.x_mm + area.width_mm / 2, area.y_mm + area.depth_mm / 2)
    return body_of(Rectangle(area.width_mm, area.depth_mm), 0.0), middle


def breaches(
    placed: Sequence[PlacedItem], footprints: Mapping[str, Footprint], bed: Bed, gap_mm: float
) -> tuple[Breach, ...]:
    """Every rule the arrangement breaks, copy by copy; empty when it may be printed on that bed."""
    found: list[Breach] = []
    bodies = [body_of(footprints[spot.item_id], spot.turn_deg) for spot in placed]
    kept_free = [area_body(area) for area in bed.keep_out]
    for at, (spot, body) in enumerate(zip(placed, bodies, strict=True)):
        room = room_mm(body, spot.x_mm, spot.y_mm, bed)
        if room < -TOLERANCE_MM:
            found.append(Breach(Rule.EDGE, (spot.item_id,), -room))
        for block, (x, y) in kept_free:
            away = distance_mm(block, body, spot.x_mm - x, spot.y_mm - y)
            if away < gap_mm - TOLERANCE_MM:
                found.append(Breach(Rule.KEPT_FREE, (spot.item_id,), max(0.0, away)))
        for other, beside in zip(placed[:at], bodies[:at], strict=True):
            dx, dy = spot.x_mm - other.x_mm, spot.y_mm - other.y_mm
            if math.hypot(dx, dy) >= body.reach_mm + beside.reach_mm + gap_mm:
                continue
            away = distance_mm(beside, body, dx, dy)
            if away < gap_mm - TOLERANCE_MM:
                rule = Rule.OVERLAP if away < -TOLERANCE_MM else Rule.GAP
                found.append(Breach(rule, (other.item_id, spot.item_id), max(0.0, away)))
    return tuple(found)


def free_place(
    item_id: str,
    placed: Sequence[PlacedItem],
    footprints: Mapping[str, Footprint],
    bed: Bed,
    gap_mm: float,
) -> PlacedItem | None:
    """The foremost, then leftmost place on a raster of 1 mm where one more copy may stand, turned where it must be;
    None when there is none."""
    across = np.arange(0.0, bed.width_mm + RASTER_MM / 2, RASTER_MM)
    behind = np.arange(0.0, bed.depth_mm + RASTER_MM / 2, RASTER_MM)
    y, x = (grid.ravel() for grid in np.meshgrid(behind, across, indexing="ij"))
    standing = [(body_of(footprints[spot.item_id], spot.turn_deg), (spot.x_mm, spot.y_mm)) for spot in placed]
    footprint = footprints[item_id]
    for turn in TURNS_DEG if not isinstance(footprint, Circle) else TURNS_DEG[:1]:
        body = body_of(footprint, turn)
        free = _rooms(body, x, y, bed) >= 0
        for other, (cx, cy) in [*standing, *(area_body(area) for area in bed.keep_out)]:
            corners = difference(other.corners, body.corners)
            free &= _distances(corners, x - cx, y - cy) >= other.radius_mm + body.radius_mm + gap_mm
        if free.any():
            at = int(np.argmax(free))
            return PlacedItem(item_id, float(x[at]), float(y[at]), turn)
    return None


def _rooms(body: Body, x: Floats, y: Floats, bed: Bed) -> Floats:
    """``room_mm`` for many centres at once."""
    if bed.is_round:
        middle = bed.width_mm / 2
        reach = np.max([np.hypot(x - middle + cx, y - middle + cy) for cx, cy in body.corners], axis=0)
        round_room: Floats = middle - bed.margin_mm - body.radius_mm - reach
        return round_room
    xs, ys = zip(*body.corners, strict=True)
    sides = (x + min(xs), bed.width_mm - x - max(xs), y + min(ys), bed.depth_mm - y - max(ys))
    room: Floats = np.min(sides, axis=0) - bed.margin_mm - body.radius_mm
    return room


def _distances(corners: tuple[Point, ...], x: Floats, y: Floats) -> Floats:
    """``signed_distance`` for many points at once."""
    if len(corners) == 1:
        from_point: Floats = np.hypot(x - corners[0][0], y - corners[0][1])
        return from_point
    inside, outside = np.full(x.shape, -np.inf), np.full(x.shape, np.inf)
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        dx, dy = bx - ax, by - ay
        length = math.hypot(dx, dy)
        if length < 1e-12:
            continue
        px, py = x - ax, y - ay
        inside = np.maximum(inside, (px * dy - py * dx) / length)
        along = np.clip((px * dx + py * dy) / length**2, 0.0, 1.0)
        outside = np.minimum(outside, np.hypot(px - along * dx, py - along * dy))
    signed: Floats = np.where(inside <= 0, inside, outside)
    return signed
