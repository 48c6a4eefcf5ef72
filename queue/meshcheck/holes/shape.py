"""Is a bore round, D-shaped, keyed, hexagonal? And its measures, from its outline at a height where that is plain."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcheck.holes.balls import faces_around
from meshcheck.holes.circle import fit_circle, largest_circle, plane_basis
from meshcheck.holes.cylinder import Cylinder
from meshcheck.holes.outline import WIDEST_SHARE, corners_of, outline_at, sides_at, upright_part
from meshcheck.types import FloatArray, IntArray, Mesh
from meshcheck.types.bore import BoreKind, BoreShape

POLYGONS = {6: BoreKind.HEXAGONAL, 4: BoreKind.SQUARE}
HEIGHTS = (0.5, 0.31, 0.73)  # of the depth: where a groove or a cross hole cuts the bore, another height tells
# How far corners may be off, in radii: a clean file first, then one with few decimals.
TOLERANCES = (3e-4, 0.012)
# A side is a flat when it is this much longer than the usual ones and spans a good part of the turn.
FLAT_LEAST, FLAT_LEAST_RAD = 1.8, float(np.radians(25))
EQUAL_RAD = float(np.radians(2.5))
FIRST_SLACK = 0.02
SQUARE_RAD = float(np.radians(2.5))  # how far the walls of a keyway may be from square
WHOLE_COVERAGE = 0.995
OPEN_LEAST = 0.3  # in radii: where less is free, something crosses the hole and is told as that


@dataclass(frozen=True, slots=True, eq=False)
class _Ring:
    """An outline about its own circle: points (n, 2), corners (numbers into them), radius, angle of a usual side."""

    points: FloatArray
    corners: IntArray
    radius: float
    usual_rad: float
    tolerance: float

    @property
    def places(self) -> FloatArray:
        return self.points[self.corners]


def shaped(mesh: Mesh, hole: Cylinder, balls: FloatArray) -> tuple[Cylinder, BoreShape]:
    """The hole with the shape of its bore. One that is not round is measured again on its outline: the circle of its
    round part (of its corners, without one) and the bar that passes; of any other odd one the bar alone. ``balls`` as
    ``face_balls`` gives them."""
    if not _odd(hole):
        return hole, BoreShape()
    upright, frame = _upright(mesh, hole, balls)
    for share in HEIGHTS:
        at = (share - 0.5) * hole.depth_mm
        points = outline_at(upright, hole.radius_mm, at)
        if points is None:
            continue
        for tolerance in TOLERANCES:
            found = _recognised(points, hole, tolerance)
            if found is not None:
                return _measured(points, hole, frame, *found)
    return _passing(upright, hole, frame), BoreShape()


def narrowed(mesh: Mesh, hole: Cylinder, balls: FloatArray) -> Cylinder:
    """The hole with the bar that passes everything around it, ribs in it too, where that is narrower than the one it
    has. ``balls`` as ``face_balls`` gives them."""
    upright, frame = _upright(mesh, hole, balls)
    passing = _passing(upright, hole, frame)
    return passing if passing.free_radius_mm < hole.free_radius_mm else hole


def _upright(mesh: Mesh, hole: Cylinder, balls: FloatArray) -> tuple[Mesh, FloatArray]:
    """The faces around a hole with its axis along z, and the frame they are in."""
    frame = np.column_stack([*plane_basis(hole.axis), hole.axis])
    reach = WIDEST_SHARE * hole.radius_mm
    faces = faces_around(balls, hole.axis, hole.middle_mm, reach, hole.depth_mm / 2)
    return upright_part(mesh, faces, frame, hole.middle_mm), frame


def _passing(upright: Mesh, hole: Cylinder, frame: FloatArray) -> Cylinder:
    """The hole with the largest bar that passes the faces around it at every height at which it is open."""
    bars = [largest_circle(sides_at(upright, (share - 0.5) * hole.depth_mm), np.zeros(2)) for share in HEIGHTS]
    bars = [bar for bar in bars if OPEN_LEAST * hole.radius_mm < bar[1] < np.inf]
    if not bars:
        return hole
    at, free = min(bars, key=lambda bar: bar[1])
    return replace(hole, free_radius_mm=min(free, hole.radius_mm), free_middle_mm=hole.middle_mm + frame[:, :2] @ at)


def _odd(hole: Cylinder) -> bool:
    """Whether a hole may be other than round: part of it missing, or a long side."""
    return hole.longest_side_rad > FLAT_LEAST_RAD or hole.coverage < WHOLE_COVERAGE


def _recognised(points: FloatArray, hole: Cylinder, share: float) -> tuple[BoreShape, FloatArray, float, float] | None:
    """Shape, centre and radius of its circle, and what the arc leaves; None for a round or unknown outline."""
    centre, radius, tolerance = np.zeros(2), hole.radius_mm, share * hole.radius_mm
    corners = corners_of(points, tolerance)
    if len(corners) < 4:
        return None
    for turn in range(3):  # the circle sharpens once the ends of flats and keyways are left out
        ring = _ring(points - centre, corners, radius, tolerance)
        arc = ring.places if len(ring.corners) in POLYGONS else _arc_points(ring, 0.0 if turn else FIRST_SLACK)
        if len(arc) < 4:
            break
        moved, radius = fit_circle(arc)
        centre = centre + moved
    ring = _ring(points - centre, corners, radius, tolerance)
    shape = _polygon(ring) or _flats(ring) or _keyed(ring)
    if shape is None:
        return None
    polygon = shape.kind in (BoreKind.HEXAGONAL, BoreKind.SQUARE)
    width = np.hypot(*(ring.places if polygon else _arc_points(ring)).T)
    if polygon:
        radius = float(width.mean())
    return shape, centre, radius, float(np.abs(width - radius).max(initial=0.0))


def _ring(points: FloatArray, corners: IntArray, radius: float, tolerance: float) -> _Ring:
    return _Ring(points, corners, radius, float(np.median(_turns(points[corners]))), tolerance)


def _turns(places: FloatArray) -> FloatArray:
    """Angle of every side about the middle."""
    angle = np.arctan2(places[:, 1], places[:, 0])
    return (np.roll(angle, -1) - angle + np.pi) % (2 * np.pi) - np.pi


def _on_circle(ring: _Ring, slack: float = 0.0) -> NDArray[np.bool_]:
    """Corners on the circle, or on a chord of it where a flat or a keyway begins."""
    width, tolerance = np.hypot(*ring.places.T), ring.tolerance + slack * ring.radius
    sag = ring.radius * (1 - np.cos(min(ring.usual_rad, 1.0) / 2))
    on: NDArray[np.bool_] = (width < ring.radius + tolerance) & (width > ring.radius - sag - tolerance)
    return on


def _is_flat(ring: _Ring) -> NDArray[np.bool_]:
    angle = _turns(ring.places)
    return angle > max(FLAT_LEAST * ring.usual_rad, FLAT_LEAST_RAD)


def _arc_points(ring: _Ring, slack: float = 0.0) -> FloatArray:
    """Corners between two usual sides, and so surely on the circle. ``slack``, in radii, while that is hardly known."""
    on, usual = _on_circle(ring, slack), ~_is_flat(ring)
    usual &= on & np.roll(on, -1)
    inner: FloatArray = ring.places[usual & np.roll(usual, 1)]
    return inner


def _distance(ring: _Ring, side: int) -> tuple[float, FloatArray]:
    """Distance of a side from the middle (the mean of all points along it), and its outward normal."""
    a, b = ring.places[side], ring.places[(side + 1) % len(ring.corners)]
    along = (b - a) / np.hypot(*(b - a))
    outward = np.array([along[1], -along[0]])
    first, last = ring.corners[side], ring.corners[(side + 1) % len(ring.corners)]
    between = np.arange(first, last + 1 if last > first else last + 1 + len(ring.points)) % len(ring.points)
    return float((ring.points[between] @ outward).mean()), outward


def _polygon(ring: _Ring) -> BoreShape | None:
    """Six or four equal sides."""
    sides = len(ring.corners)
    kind = POLYGONS.get(sides)
    width = np.hypot(*ring.places.T)
    uneven = np.abs(_turns(ring.places) - 2 * np.pi / sides).max() > EQUAL_RAD
    if kind is None or np.ptp(width) > 2 * ring.tolerance or uneven:
        return None
    return BoreShape(kind, 2 * float(np.mean([_distance(ring, k)[0] for k in range(sides)])))


def _flats(ring: _Ring) -> BoreShape | None:
    """A circle with one flat, or two that face each other."""
    flats = np.flatnonzero(_is_flat(ring))
    if not _on_circle(ring).all() or len(flats) not in (1, 2) or len(ring.corners) < 5:
        return None
    distance, outward = zip(*[_distance(ring, int(k)) for k in flats], strict=True)
    if len(flats) == 1:
        return BoreShape(BoreKind.D, ring.radius + distance[0])
    if float(outward[0] @ outward[1]) > -np.cos(EQUAL_RAD):
        return None
    return BoreShape(BoreKind.DOUBLE_D, distance[0] + distance[1])


def _keyed(ring: _Ring) -> BoreShape | None:
    """A circle with one or more keyways: three sides outside it, square to each other. The first one is measured."""
    on = _on_circle(ring)
    count = len(on)
    outside = [k for k in range(count) if not on[k]]
    if not outside or len(outside) % 2 or count - len(outside) < 5:
        return None
    found = [_keyway(ring, k) for k in outside if on[k - 1]]
    if len(found) * 2 != len(outside) or any(key is None for key in found):
        return None
    return found[0]


def _keyway(ring: _Ring, first: int) -> BoreShape | None:
    """The keyway whose floor runs from corner ``first`` to the next one."""
    numbers = [(first + step) % len(ring.corners) for step in (-1, 0, 1, 2)]
    a, b, c, d = ring.places[numbers]
    if not _on_circle(ring)[numbers[3]]:
        return None
    floor, outward = _distance(ring, first)
    along = np.array([-outward[1], outward[0]])
    for wall in (b - a, c - d):
        length = float(np.hypot(*wall))
        if length <= ring.tolerance or wall @ outward < np.cos(SQUARE_RAD + ring.tolerance / length) * length:
            return None
    width = _distance(ring, numbers[0])[1], _distance(ring, numbers[2])[1]
    left, right = _distance(ring, numbers[0])[0], _distance(ring, numbers[2])[0]
    across = abs(float(left * (width[0] @ along) - right * (width[1] @ along)))
    middle = (float(b @ along) + float(c @ along)) / 2
    round_mm = np.sqrt(max(ring.radius**2 - middle**2, 0.0))
    if floor <= ring.radius + ring.tolerance:
        return None
    return BoreShape(BoreKind.KEYED, None, across, floor - float(round_mm))


def _measured(
    points: FloatArray,
    hole: Cylinder,
    frame: FloatArray,
    shape: BoreShape,
    centre: FloatArray,
    radius: float,
    left: float,
) -> tuple[Cylinder, BoreShape]:
    """The hole with the circle and the bar of its outline."""
    sides = np.column_stack([points, np.roll(points, -1, axis=0)])
    free_at, free = largest_circle(sides, centre)
    middle = hole.middle_mm + frame[:, :2] @ centre
    return replace(
        hole, middle_mm=middle, radius_mm=radius, diameters_mm=(2 * radius, 2 * radius), free_radius_mm=free,
        free_middle_mm=hole.middle_mm + frame[:, :2] @ free_at, misfit_mm=left, roundness_mm=left, coverage=1.0,
    ), shape  # fmt: skip
