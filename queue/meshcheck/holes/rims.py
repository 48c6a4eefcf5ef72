"""Which round outside a hole sits in, and how far from its middle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from meshcheck.holes.circle import fit_circle, plane_basis
from meshcheck.holes.cylinder import Cylinder
from meshcheck.types import FloatArray, Mesh

PARALLEL_LEAST = 0.999
# An outline counts as round when no side of it comes nearer to the middle than this (9 sides: 0.940).
ROUND_LEAST = 0.93
# The outline is the rim when it is wider than the widest cylinder by this much: treads, tyres of round section.
WIDER_OUTLINE = 1.1
OWN_HUB_SHARE = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """The round outside around a hole: axis, a point on it, diameter, and its reach along the axis."""

    axis: FloatArray
    middle_mm: FloatArray
    diameter_mm: float
    half_width_mm: float

    def distance_mm(self, point: FloatArray) -> float:
        """Distance of a point from the axis of the rim."""
        offset = point - self.middle_mm
        return float(np.linalg.norm(offset - (offset @ self.axis) * self.axis))

    def holds(self, hole: Cylinder) -> bool:
        """Whether a hole lies inside the rim, along and across its axis."""
        if abs(hole.axis @ self.axis) < PARALLEL_LEAST or 2 * hole.radius_mm >= self.diameter_mm:
            return False
        along = abs(float((hole.middle_mm - self.middle_mm) @ self.axis))
        # half of it inside is enough: a rim may be a narrow ring on a wide hub
        beside = along > 2 * self.half_width_mm + hole.depth_mm / 2
        return not beside and self.distance_mm(hole.middle_mm) + hole.radius_mm < self.diameter_mm / 2


def rims_of(mesh: Mesh, outsides: list[Cylinder], holes: list[Cylinder]) -> list[Rim]:
    """Every round outside: the cylinders found, and the outline of each body along the axis of its holes."""
    rims = [Rim(c.axis, c.middle_mm, 2 * c.radius_mm, c.depth_mm / 2) for c in outsides]
    seen: list[tuple[int, FloatArray]] = []
    bodies: dict[int, FloatArray] = {}
    for hole in holes:
        if any(body == hole.body and abs(axis @ hole.axis) > PARALLEL_LEAST for body, axis in seen):
            continue
        seen.append((hole.body, hole.axis))
        if hole.body not in bodies:
            bodies[hole.body] = _corners_of(mesh, hole.body)
        outline = _outline(bodies[hole.body], hole.axis)
        if outline is None and mesh.body.max() > 0:  # rounding may have split one part in two that touch
            outline = _outline(_touching(mesh, bodies[hole.body]), hole.axis)
        if outline is not None and not any(_covers(rim, outline) for rim in rims):
            rims.append(outline)
    return rims


def widest_around(rims: list[Rim], hole: Cylinder) -> int | None:
    """Number of the widest rim that holds the hole; of wheels stacked on one axis the one it stands in."""

    def key(k: int) -> tuple[bool, float, float]:
        along = abs(float((hole.middle_mm - rims[k].middle_mm) @ rims[k].axis))
        beside = along > rims[k].half_width_mm + hole.depth_mm / 2
        own_hub = 2 * hole.radius_mm > OWN_HUB_SHARE * rims[k].diameter_mm  # too tight a round to be the wheel
        return not beside and not own_hub, round(rims[k].diameter_mm / hole.radius_mm, 2), -along

    around = [k for k, rim in enumerate(rims) if rim.holds(hole)]
    return max(around, key=key) if around else None


def _covers(rim: Rim, outline: Rim) -> bool:
    """Whether a cylinder already says what the outline says, and more exactly."""
    near = rim.distance_mm(outline.middle_mm) < 0.25 * outline.diameter_mm
    parallel = abs(rim.axis @ outline.axis) > PARALLEL_LEAST
    along = abs(float((rim.middle_mm - outline.middle_mm) @ rim.axis)) <= rim.half_width_mm + outline.half_width_mm
    return bool(near and parallel and along and rim.diameter_mm * WIDER_OUTLINE > outline.diameter_mm)


def _corners_of(mesh: Mesh, body: int) -> FloatArray:
    """The vertices (k, 3) of one body."""
    used = np.zeros(len(mesh.vertices), np.bool_)
    used[mesh.faces[mesh.body == body]] = True
    return mesh.vertices[used]


def _touching(mesh: Mesh, vertices: FloatArray) -> FloatArray:
    """The corners of all bodies whose boxes meet the box of ``vertices``."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    groups = [_corners_of(mesh, int(body)) for body in np.unique(mesh.body)]
    near = [points for points in groups if (points.max(axis=0) >= low).all() and (points.min(axis=0) <= high).all()]
    return np.vstack(near)


def _outline(vertices: FloatArray, axis: FloatArray) -> Rim | None:
    """The circle of a body's outline seen along an axis, if that outline is round."""
    u, v = plane_basis(axis)
    flat = vertices @ np.column_stack([u, v])
    try:
        corners = flat[ConvexHull(flat).vertices]
    except QhullError:  # all on a line: no outline
        return None
    centre, radius = fit_circle(corners)
    following = np.roll(corners, -1, axis=0)
    sides = following - corners
    offset = corners - centre
    nearest = np.abs(sides[:, 0] * offset[:, 1] - sides[:, 1] * offset[:, 0]) / np.hypot(sides[:, 0], sides[:, 1])
    if nearest.min() < ROUND_LEAST * radius or np.hypot(offset[:, 0], offset[:, 1]).max() > radius / ROUND_LEAST:
        return None
    along = vertices @ axis
    middle = np.column_stack([u, v]) @ centre + axis * float(along.min() + along.max()) / 2
    return Rim(axis, middle, 2 * radius, float(np.ptp(along)) / 2)
