"""The simple outlines parts are packed by, and the way back to where the part itself stands."""

from __future__ import annotations

import math
from dataclasses import dataclass

from planning.types import Circle, Footprint, Hull, PlacedItem, Rectangle

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Outline:
    """A disc or rectangle to pack by. The part must be turned by ``turn_deg`` to lie in it; its footprint's centre is
    then ``offset_mm`` from the outline's centre. ``area_mm2`` is the part's own area."""

    half_width_mm: float
    half_depth_mm: float
    is_disc: bool
    area_mm2: float
    turn_deg: float = 0.0
    offset_mm: Point = (0.0, 0.0)

    @property
    def box_area_mm2(self) -> float:
        """Area of the box around the outline."""
        return 4 * self.half_width_mm * self.half_depth_mm

    def placed(self, item_id: str, x_mm: float, y_mm: float, quarter_turns: int) -> PlacedItem:
        """The part when the outline's centre is there, turned by so many quarters."""
        dx, dy = turned(self.offset_mm, 90.0 * quarter_turns)
        return PlacedItem(item_id, x_mm + dx, y_mm + dy, (self.turn_deg + 90.0 * quarter_turns) % 360.0)


def turned(point: Point, degrees: float) -> Point:
    """A point turned anticlockwise about the origin."""
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}.get(degrees % 360.0)
    cos, sin = quarter or (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
    return (point[0] * cos - point[1] * sin, point[0] * sin + point[1] * cos)


def outline_of(footprint: Footprint) -> Outline:
    """Exact for circles and rectangles; for a hull the smaller of its enclosing circle and its smallest rectangle."""
    if isinstance(footprint, Circle):
        return Outline(footprint.radius_mm, footprint.radius_mm, True, math.pi * footprint.radius_mm**2)
    if isinstance(footprint, Rectangle):
        return Outline(footprint.width_mm / 2, footprint.depth_mm / 2, False, footprint.width_mm * footprint.depth_mm)
    points = centred_hull(footprint)
    area = polygon_area(points)
    if area <= 0:
        raise ValueError("The hull has no area.")
    box = _smallest_rectangle(points, area)
    disc = _enclosing_disc(points, area)
    return disc if math.pi * disc.half_width_mm**2 < box.box_area_mm2 else box


def centred_hull(footprint: Hull) -> list[Point]:
    """Convex corners anticlockwise, about the centre of the bounding box of the given points."""
    xs, ys = zip(*footprint.points_mm, strict=True)
    centre = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
    return convex_hull([(x - centre[0], y - centre[1]) for x, y in footprint.points_mm])


def convex_hull(points: list[Point]) -> list[Point]:
    """Corners anticlockwise by the monotone chain (A. M. Andrew, Inf. Process. Lett. 9, 1979)."""
    ordered = sorted(set(points))

    def chain(sequence: list[Point]) -> list[Point]:
        corners: list[Point] = []
        for point in sequence:
            while len(corners) >= 2 and _cross(corners[-2], corners[-1], point) <= 0:
                corners.pop()
            corners.append(point)
        return corners[:-1]

    return chain(ordered) + chain(ordered[::-1])


def _cross(origin: Point, first: Point, second: Point) -> float:
    return (first[0] - origin[0]) * (second[1] - origin[1]) - (first[1] - origin[1]) * (second[0] - origin[0])


def polygon_area(points: list[Point]) -> float:
    """Area of an anticlockwise polygon by the shoelace formula."""
    pairs = zip(points, points[1:] + points[:1], strict=True)
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs) / 2


def _smallest_rectangle(points: list[Point], area: float) -> Outline:
    """One side of the smallest rectangle lies along an edge (H. Freeman and R. Shapira, Commun. ACM 18, 1975)."""
    best: Outline | None = None
    for first, second in zip(points, points[1:] + points[:1], strict=True):
        turn = -math.degrees(math.atan2(second[1] - first[1], second[0] - first[0]))
        xs, ys = zip(*(turned(point, turn) for point in points), strict=True)
        width, depth = max(xs) - min(xs), max(ys) - min(ys)
        if best is None or width * depth < best.box_area_mm2 - 1e-9:
            offset = (-(max(xs) + min(xs)) / 2, -(max(ys) + min(ys)) / 2)
            best = Outline(width / 2, depth / 2, False, area, turn % 360.0, offset)
    assert best is not None
    return best


def _enclosing_disc(points: list[Point], area: float) -> Outline:
    """A disc about the hull: Ritter's start, then walked towards the farthest corner (Badoiu and Clarkson, 2003)."""
    x, y = points[0]
    for step in range(1, 200):
        far = max(points, key=lambda point: math.hypot(point[0] - x, point[1] - y))
        x += (far[0] - x) / (step + 1)
        y += (far[1] - y) / (step + 1)
    radius = max(math.hypot(point[0] - x, point[1] - y) for point in points)
    return Outline(radius, radius, True, area, 0.0, (-x, -y))
