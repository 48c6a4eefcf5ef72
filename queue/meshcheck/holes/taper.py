"""Tapered bores: a cone instead of a cylinder. What counts for a bar is the narrow end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import ConvexHull

from meshcheck.holes.circle import inscribed_circle, plane_basis
from meshcheck.holes.cylinder import CLEAN_SHARE, Cylinder, longest_side
from meshcheck.types import FloatArray, Mesh
from meshcheck.types.bore import BoreKind, BoreShape

STEPS, TRIMS = 6, 8
CORNERS_LEAST = 0.7  # share of the points of a wall that are corners
POINTS_LEAST = 10
WIDENS_LEAST = 4 * CLEAN_SHARE  # from end to end, as a share of the radius: less is a round bore
END_SHARE = 0.01  # corners this near to an end, as a share of the depth, are its rim
WHOLE_COVERAGE = 0.95

_Fit = tuple[FloatArray, FloatArray, float, float, FloatArray]


def tapered(mesh: Mesh, hole: Cylinder) -> tuple[Cylinder, BoreShape] | None:
    """The hole as the cone all corners of its wall lie on, measured at its narrow end; None where they lie on none."""
    if hole.misfit_mm < CLEAN_SHARE * hole.radius_mm or hole.coverage < WHOLE_COVERAGE:
        return None
    frame = np.column_stack([*plane_basis(hole.axis), hole.axis])
    points = (mesh.vertices[np.unique(mesh.faces[hole.faces])] - hole.middle_mm) @ frame
    if len(points) < POINTS_LEAST or not hole.depth_mm > 0:
        return None
    fit = _cone_of_corners(points, hole.radius_mm)
    if fit is None:
        return None
    centre, slope, radius, widening, left = fit
    low, high = float(points[:, 2].min()), float(points[:, 2].max())
    ends = radius + widening * low, radius + widening * high
    narrow, wide = min(ends), max(ends)
    if narrow <= 0 or wide - narrow < WIDENS_LEAST * radius:
        return None
    at = low if ends[0] < ends[1] else high
    rim = points[np.abs(points[:, 2] - at) < END_SHARE * (high - low)]
    middle = centre + slope * at
    free = _passes(rim[:, :2], middle)
    axis = frame @ np.append(slope, 1.0)
    axis /= np.linalg.norm(axis)
    halfway = (low + high) / 2
    place = hole.middle_mm + frame @ np.append(centre + slope * halfway, halfway)
    depth, along = (high - low) * float(np.hypot(1.0, np.hypot(*slope))), float(place @ axis)
    return replace(
        hole, axis=axis, middle_mm=place, radius_mm=narrow, free_radius_mm=free, free_middle_mm=place,
        low_mm=along - depth / 2, high_mm=along + depth / 2, misfit_mm=float(np.sqrt((left**2).mean())),
        roundness_mm=float(np.ptp(left)), diameters_mm=(2 * narrow, 2 * narrow),
    ), BoreShape(BoreKind.TAPERED, wide_mm=2 * wide)  # fmt: skip


def _cone_of_corners(points: FloatArray, radius: float) -> _Fit | None:
    """The cone that all corners of a wall lie on; points along its flat sides may lie inside. None without one."""
    fit = _cone(points, radius)
    corner = np.ones(len(points), np.bool_)
    for _ in range(TRIMS):
        left = _left(points, fit)
        stays = left > -CLEAN_SHARE * fit[2]
        if (stays == corner).all():
            break
        if stays.sum() < max(
            POINTS_LEAST, CORNERS_LEAST * len(points)
        ):  # of an uneven wall the outermost would be kept
            return None
        corner = stays
        fit = _cone(points[corner], fit[2])
    left = _left(points, fit)
    offset = points[:, :2] - fit[0] - points[:, 2:] * fit[1]
    sag = (fit[2] + abs(fit[3]) * float(np.abs(points[:, 2]).max())) * (1 - np.cos(longest_side(offset[corner]) / 2))
    clean = 2 * CLEAN_SHARE * fit[2]
    if np.abs(left[corner]).max() > clean or left.max() > clean or left.min() < -sag - clean:
        return None
    return (*fit[:4], left[corner])


def _left(points: FloatArray, fit: _Fit) -> FloatArray:
    """By how much points (n, 3) stand outside a cone."""
    centre, slope, radius, widening, _ = fit
    offset = points[:, :2] - centre - points[:, 2:] * slope
    left: FloatArray = np.hypot(offset[:, 0], offset[:, 1]) - radius - widening * points[:, 2]
    return left


def _cone(points: FloatArray, radius: float) -> _Fit:
    """Least squares of the radii of points (n, 3) about the z axis: centre (2,) at z 0 and its slope (2,) along z,
    radius at z 0, how much it widens with z, and what is left (n,)."""
    centre, slope, widening = np.zeros(2), np.zeros(2), 0.0
    z = points[:, 2]
    for _ in range(STEPS):
        offset = points[:, :2] - centre - z[:, None] * slope
        width = np.maximum(np.hypot(offset[:, 0], offset[:, 1]), 1e-12)
        c, s = (offset / width[:, None]).T
        left = width - radius - widening * z
        step = np.linalg.lstsq(np.column_stack([c, s, z * c, z * s, np.ones(len(z)), z]), left, rcond=None)[0]
        centre, slope = centre + step[:2], slope + step[2:4]
        radius, widening = radius + float(step[4]), widening + float(step[5])
    fit = (centre, slope, radius, widening, z)
    return (*fit[:4], _left(points, fit))


def _passes(rim: FloatArray, middle: FloatArray) -> float:
    """Radius of the bar that passes the corners (k, 2) of the narrow rim."""
    if len(rim) < 3:
        return 0.0
    return inscribed_circle(rim[ConvexHull(rim).vertices], middle)[1]
