"""The simple outlines parts are packed by, and the way back to where the part itself stands."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from planning.types import Circle, Footprint, Hull, PlacedItem, Rectangle

Point = tuple[float, float]
OTHER_ANGLE_DEG = 5.0
# Round outlines have hundreds of corners; packing takes as long as there are corners.
CORNERS_MOST, AREA_ADDED_MOST = 16, 0.02


@dataclass(frozen=True, slots=True)
class Outline:
    """A disc or rectangle to pack by. The part must be turned by ``turn_deg`` to lie in it; its footprint's centre is
    then ``offset_mm`` from the outline's centre. ``area_mm2`` is the part's own area. ``corners``: the part's own
    outline in it, convex and anticlockwise about the outline's centre; a disc has the one corner its centre."""

    half_width_mm: float
    half_depth_mm: float
    is_disc: bool
    area_mm2: float
    turn_deg: float = 0.0
    offset_mm: Point = (0.0, 0.0)
    corners: tuple[Point, ...] = ((0.0, 0.0),)
    is_hull: bool = False  # the corners are its own, not those of its box

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


def box_outline(half_width_mm: float, half_depth_mm: float) -> Outline:
    """A rectangle as it is."""
    x, y = half_width_mm, half_depth_mm
    return Outline(x, y, False, 4 * x * y, corners=((-x, -y), (x, -y), (x, y), (-x, y)))


@lru_cache(maxsize=1024)
def exact_outlines(footprint: Footprint) -> tuple[Outline, ...]:
    """As ``outline_of``, but a hull lies in its smallest rectangle, or in the next smallest that stands at another
    angle, with its own corners."""
    if not isinstance(footprint, Hull):
        return (outline_of(footprint),)
    points = centred_hull(footprint)
    return _rectangles(fewer_corners(points), polygon_area(points))


def fewer_corners(points: list[Point]) -> list[Point]:
    """A convex polygon around a convex polygon, with fewer corners: sides are taken out, those first that add the least
    area, until CORNERS_MOST are left or the next would bring the whole to more than AREA_ADDED_MOST more."""
    spare = AREA_ADDED_MOST * polygon_area(points)
    corners = list(points)
    added = [_without_side(corners, at) for at in range(len(corners))]
    while len(corners) > CORNERS_MOST:
        at = min(range(len(corners)), key=lambda index: added[index][0])
        area, tip = added[at]
        if area > spare:
            break
        spare -= area
        following = (at + 1) % len(corners)
        corners[at] = tip
        del corners[following], added[following]
        at -= following == 0
        for changed in (at - 1, at, (at + 1) % len(corners)):
            added[changed] = _without_side(corners, changed)
    return corners


def _without_side(points: list[Point], at: int) -> tuple[float, Point]:
    """The area added when the side from that corner to the next is taken out and its neighbours run on until they
    meet, and where they do; infinite when they do not."""
    size = len(points)
    before, first, second, after = (points[(at + step) % size] for step in (-1, 0, 1, 2))
    one = (first[0] - before[0], first[1] - before[1])
    two = (second[0] - after[0], second[1] - after[1])
    cross = one[0] * two[1] - one[1] * two[0]
    if cross >= -1e-9:  # together they turn by half a circle or more
        return math.inf, first
    share = ((second[0] - first[0]) * two[1] - (second[1] - first[1]) * two[0]) / cross
    tip = (first[0] + share * one[0], first[1] + share * one[1])
    return abs(_cross(first, second, tip)) / 2, tip


@lru_cache(maxsize=1024)  # a class's plates hold the same few parts many times
def outline_of(footprint: Footprint) -> Outline:
    """Exact for circles and rectangles; for a hull the smaller of its enclosing circle and its smallest rectangle."""
    if isinstance(footprint, Circle):
        return Outline(footprint.radius_mm, footprint.radius_mm, True, math.pi * footprint.radius_mm**2)
    if isinstance(footprint, Rectangle):
        return box_outline(footprint.width_mm / 2, footprint.depth_mm / 2)
    points = centred_hull(footprint)
    area = polygon_area(points)
    if area <= 0:
        raise ValueError("The hull has no area.")
    box, disc = smallest_box(footprint), _enclosing_disc(points, area)
    return disc if math.pi * disc.half_width_mm**2 < box.box_area_mm2 else box


@lru_cache(maxsize=1024)
def smallest_box(footprint: Footprint) -> Outline:
    """The smallest rectangle a footprint lies in, of a hull at whatever angle."""
    if isinstance(footprint, Rectangle):
        return box_outline(footprint.width_mm / 2, footprint.depth_mm / 2)
    if isinstance(footprint, Circle):
        area = math.pi * footprint.radius_mm**2
        return replace(box_outline(footprint.radius_mm, footprint.radius_mm), area_mm2=area)
    points = centred_hull(footprint)
    exact = _rectangles(points, polygon_area(points))[0]
    return replace(exact, corners=box_outline(exact.half_width_mm, exact.half_depth_mm).corners, is_hull=False)


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


def _rectangles(points: list[Point], area: float) -> tuple[Outline, ...]:
    """The smallest rectangle, and the next smallest at another angle. One side of the smallest rectangle lies along an
    edge (H. Freeman and R. Shapira, Commun. ACM 18, 1975)."""
    found = []
    for first, second in zip(points, points[1:] + points[:1], strict=True):
        turn = -math.degrees(math.atan2(second[1] - first[1], second[0] - first[0]))
        xs, ys = zip(*(turned(point, turn) for point in points), strict=True)
        width, depth = max(xs) - min(xs), max(ys) - min(ys)
        offset = (-(max(xs) + min(xs)) / 2, -(max(ys) + min(ys)) / 2)
        corners = tuple((x + offset[0], y + offset[1]) for x, y in zip(xs, ys, strict=True))
        found.append(Outline(width / 2, depth / 2, False, area, turn % 360.0, offset, corners, is_hull=True))
    found.sort(key=lambda outline: round(outline.box_area_mm2, 6))
    others = [outline for outline in found if _angle_apart(outline.turn_deg, found[0].turn_deg) > OTHER_ANGLE_DEG]
    return (found[0], *others[:1])


def _angle_apart(one_deg: float, other_deg: float) -> float:
    """Between two rectangles, 0 to 45 degrees."""
    apart = (one_deg - other_deg) % 90.0
    return min(apart, 90.0 - apart)


def _enclosing_disc(points: list[Point], area: float) -> Outline:
    """A disc about the hull: Ritter's start, then walked towards the farthest corner (Badoiu and Clarkson, 2003)."""
    x, y = points[0]
    for step in range(1, 200):
        far = max(points, key=lambda point: math.hypot(point[0] - x, point[1] - y))
        x += (far[0] - x) / (step + 1)
        y += (far[1] - y) / (step + 1)
    radius = max(math.hypot(point[0] - x, point[1] - y) for point in points)
    return Outline(radius, radius, True, area, 0.0, (-x, -y))
