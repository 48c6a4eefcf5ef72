"""The room a part takes on a bed: a circle, a rectangle, or the hull of its outline."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from meshcheck.types import FloatArray, Mesh

ROUND_SHARE = 0.002  # a hull whose corners lie this close to one circle is that circle
FULL_SHARE = 0.98  # a hull that fills its box so far is planned as the box
CORNERS_MOST = 32


@dataclass(frozen=True, slots=True)
class Footprint:
    """Outline seen from above, about the middle of its bounding box. ``corners_mm`` runs counter-clockwise."""

    kind: Literal["circle", "rectangle", "hull"]
    width_mm: float
    depth_mm: float
    corners_mm: tuple[tuple[float, float], ...] = ()

    @property
    def radius_mm(self) -> float:
        return max(self.width_mm, self.depth_mm) / 2


def footprint(mesh: Mesh) -> Footprint:
    """The footprint of a mesh; never smaller than the part's outline. A flat or empty outline gives its box."""
    flat = mesh.vertices[:, :2]
    low, high = flat.min(axis=0), flat.max(axis=0)
    centred = flat - (low + high) / 2
    width, depth = (float(side) for side in high - low)
    try:
        hull = ConvexHull(centred)
    except (QhullError, ValueError):
        return Footprint("rectangle", width, depth)
    corners: FloatArray = centred[hull.vertices]
    radius = np.hypot(corners[:, 0], corners[:, 1])
    if len(corners) >= 12 and float(np.ptp(radius)) <= ROUND_SHARE * float(radius.max()):
        across = 2 * float(radius.max())
        return Footprint("circle", across, across)
    if float(hull.volume) >= FULL_SHARE * width * depth:  # in the plane, Qhull's volume is the area
        return Footprint("rectangle", width, depth)
    outline = tuple((float(x), float(y)) for x, y in _fewer_corners(corners))
    return Footprint("hull", width, depth, outline)


def _fewer_corners(corners: FloatArray) -> FloatArray:
    """A convex outline of CORNERS_MOST corners around the given one: its tangents in evenly spread directions, met."""
    if len(corners) <= CORNERS_MOST:
        return corners
    angles = np.linspace(0, 2 * np.pi, CORNERS_MOST, endpoint=False)
    normals = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    reach = (normals @ corners.T).max(axis=1)
    following = np.roll(normals, -1, axis=0)
    determinant = normals[:, 0] * following[:, 1] - normals[:, 1] * following[:, 0]
    following_reach = np.roll(reach, -1)
    x = (reach * following[:, 1] - following_reach * normals[:, 1]) / determinant
    y = (following_reach * normals[:, 0] - reach * following[:, 0]) / determinant
    met: FloatArray = np.stack([x, y], axis=1)
    return met
