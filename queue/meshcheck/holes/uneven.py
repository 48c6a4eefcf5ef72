"""Uneven walls: the cylinder fitted again to every corner of the wall, as the polygon of equal sides it was drawn as.

Where corners are off by some hundredths (noise, few decimals, thinned meshes) a face's direction says little, and
the middles of long sides pull a circle inward. All corners of the wall together still tell axis, width and depth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcheck.edges import EdgeTable
from meshcheck.holes.circle import largest_circle, plane_basis
from meshcheck.holes.cylinder import CLEAN_SHARE, Cylinder
from meshcheck.types import FloatArray, IntArray, Mesh

# Where corners of the wall may stand, in radii: the middle of a square's side, and a little further out.
INNER_SHARE, OUTER_SHARE = 0.65, 1.08
LOOKING_IN_LEAST = 0.5
TILT_MOST, OWN_TILT_MOST = 0.35, 0.5  # smoothed over the neighbours, and by itself; a chamfer has 0.7
STANDING_MOST = 0.7  # faces that lean more are a floor or a chamfer and do not narrow the hole
STRETCHED_MOST = 1.03  # beyond it the hole is an ellipse, not an uneven circle
FITS = 4
SIDES_MOST = 64
TRIED_ROUND, TRIES = 16, 8
# A polygon must explain this many times the scatter of one corner, or most of the scatter where corners are few.
POLYGON_GAIN = 25.0
POLYGON_GAIN_SHARE = 0.7
POINTS_LEAST = 8
SECTORS = 16
# Corners off by more than this many usual deviations are no part of the wall: the first rows of a chamfer.
TRIMS, TRIM_DEVIATIONS = 4, 4.5
OVAL_LEAST, OVAL_SIGNIFICANT = 0.005, 4.0


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Axis and circle in the frame of the hole: centre (2,) at z 0, its slope (2,) along z, corner radius, sides of
    the polygon (0: every corner lies on the circle), angle of one corner, and what is left (n,) of every radius."""

    centre: FloatArray
    slope: FloatArray
    radius: float
    sides: int
    corner_rad: float
    left: FloatArray

    @property
    def scatter_mm(self) -> float:
        return float(np.sqrt((self.left**2).mean()))


def evened(mesh: Mesh, edges: EdgeTable, hole: Cylinder) -> Cylinder:
    """The hole measured again on all of its wall, where the wall is uneven; the same hole where it is not."""
    if hole.misfit_mm < CLEAN_SHARE * hole.radius_mm:
        return hole
    frame = np.column_stack([*plane_basis(hole.axis), hole.axis])
    near, nearby = _nearby(mesh, frame, hole)
    wall, standing = _wall(edges.normals[near] @ frame, edges.area_mm2[near], nearby, mesh.faces[near])
    points = (mesh.vertices[np.unique(mesh.faces[near[wall]])] - hole.middle_mm) @ frame
    if len(points) < POINTS_LEAST:
        return hole
    fit = _fitted(points, hole.radius_mm)
    for _ in range(TRIMS):
        stays = _trimmed(fit)
        if stays.all() or stays.sum() < POINTS_LEAST:
            break
        points = points[stays]
        fit = _fitted(points, fit.radius)
    stretched = hole.diameters_mm[1] > STRETCHED_MOST * hole.diameters_mm[0]
    if not 0.8 < fit.radius / hole.radius_mm < 1.2 or fit.scatter_mm > (1 if stretched else 2) * hole.misfit_mm:
        return hole
    low, high = _ends(points, fit.scatter_mm)
    turned = _along(fit, frame)
    corners = nearby[standing]
    if high - low < 0.5 * hole.depth_mm:
        return hole
    margin = max(6 * fit.scatter_mm, 0.02 * (high - low))  # slivers of a floor lie within the scatter of its height
    between = (corners[:, :, 2].max(axis=1) > low + margin) & (corners[:, :, 2].min(axis=1) < high - margin)
    free_at, free = largest_circle(_sides(_across(corners[between], fit)), np.zeros(2))
    middle_z = (low + high) / 2
    middle = hole.middle_mm + frame @ np.append(fit.centre + fit.slope * middle_z, middle_z)
    half = (high - low) / 2
    at = float(middle @ turned)
    return replace(
        hole, axis=turned, middle_mm=middle, radius_mm=fit.radius, free_radius_mm=free,
        free_middle_mm=middle + frame[:, :2] @ free_at, low_mm=at - half,
        high_mm=at + half, misfit_mm=fit.scatter_mm, roundness_mm=float(np.ptp(fit.left)),
        diameters_mm=_diameters(points, fit), facets=fit.sides or hole.facets,
        faces=near[wall].astype(np.int32),
    )  # fmt: skip


def _nearby(mesh: Mesh, frame: FloatArray, hole: Cylinder) -> tuple[IntArray, FloatArray]:
    """Faces (k,) all of whose corners stand near the wall, and their corners (k, 3, 3) in the frame of the hole."""
    reach = OUTER_SHARE * hole.radius_mm
    ends = 0.15 * hole.depth_mm / 2 + hole.depth_mm / 2 + 0.3 * hole.radius_mm
    place = mesh.vertices @ frame - hole.middle_mm @ frame
    width = np.hypot(place[:, 0], place[:, 1])
    close = (width < reach) & (width > INNER_SHARE * hole.radius_mm) & (np.abs(place[:, 2]) < ends)
    faces = np.flatnonzero(close[mesh.faces].all(axis=1)).astype(np.int32)
    corners: FloatArray = place[mesh.faces[faces]]
    return faces, corners


def _wall(
    normals: FloatArray, area: FloatArray, corners: FloatArray, faces: IntArray
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which faces are the wall itself, and which stand in the way of a bar: both by directions smoothed over the
    neighbours, since a small face of an uneven wall may lean any way."""
    numbers, local = np.unique(faces, return_inverse=True)
    local = local.reshape(faces.shape)
    summed = np.zeros((len(numbers), 3))
    for k in range(3):
        for axis in range(3):
            summed[:, axis] += np.bincount(local[:, k], normals[:, axis] * area, minlength=len(numbers))
    summed /= np.maximum(np.linalg.norm(summed, axis=1), 1e-300)[:, None]
    smooth = summed[local].sum(axis=1)
    smooth /= np.maximum(np.linalg.norm(smooth, axis=1), 1e-300)[:, None]
    outward = corners.mean(axis=1)[:, :2]
    outward /= np.maximum(np.hypot(outward[:, 0], outward[:, 1]), 1e-300)[:, None]
    facing_in = np.einsum("ij,ij->i", normals[:, :2], outward) < -LOOKING_IN_LEAST
    leaning, own = np.abs(smooth[:, 2]), np.abs(normals[:, 2])
    upright = (leaning < TILT_MOST) & (own < OWN_TILT_MOST)
    return facing_in & upright, facing_in | ((leaning < STANDING_MOST) & (own < STANDING_MOST))


def _fitted(points: FloatArray, radius: float) -> _Fit:
    """The circle, or the polygon where the corners tell that many of them stand inside the circle."""
    n = len(points)
    circle = _improved(points, _Fit(np.zeros(2), np.zeros(2), radius, 0, 0.0, np.zeros(n)))
    angle, width = _polar(points, circle)
    best = circle
    for sides in range(3, min(SIDES_MOST, (n - 1) // 2) + 1):
        for corner in _corner_angles(circle.left, angle, sides):
            shape = _shape(angle, sides, corner)
            left = width - shape * float(width @ shape) / float(shape @ shape)
            if (left**2).sum() < (best.left**2).sum() and _straight(shape, sides):
                best = replace(circle, sides=sides, corner_rad=corner, left=left)
    if not best.sides:
        return circle
    polygon = _improved(points, best)
    scatter, whole = float((polygon.left**2).sum()), float((circle.left**2).sum())
    least = POLYGON_GAIN * scatter / n if n > 2 * POLYGON_GAIN else POLYGON_GAIN_SHARE * whole
    return polygon if whole - scatter > least else circle


def _corner_angles(left: FloatArray, angle: FloatArray, sides: int) -> list[float]:
    """Where a corner may stand: at the crest of the wave in what the circle leaves. Where points stand too unevenly on
    a few long sides for that, angles all round."""
    wave = complex((left * np.exp(1j * sides * angle)).sum())
    crest = [float(np.angle(wave)) / sides]
    return crest if sides > TRIED_ROUND else crest + [2 * np.pi / sides * k / TRIES for k in range(TRIES)]


def _straight(shape: FloatArray, sides: int) -> bool:
    """Whether points at ``shape`` of the corner radius stand at every corner of a polygon, and some between: eight
    corners of a circle also lie on the sides of a square."""
    sag, deepest = 1 - shape, 1 - np.cos(np.pi / sides)
    return bool((sag < 0.25 * deepest).sum() >= sides and (sag > 0.5 * deepest).sum() >= max(3, sides // 4))


def _trimmed(fit: _Fit) -> NDArray[np.bool_]:
    """Which corners (n,) belong to the wall, judged by the usual deviation, which some that do not cannot spoil."""
    offset = np.abs(fit.left - np.median(fit.left))
    usual = 1.4826 * float(np.median(offset))
    stays: NDArray[np.bool_] = offset <= np.maximum(TRIM_DEVIATIONS * usual, CLEAN_SHARE * fit.radius)
    return stays


def _improved(points: FloatArray, fit: _Fit) -> _Fit:
    """Least squares of the radii over centre, slope of the axis, radius and (of a polygon) the angle of its corners."""
    z = points[:, 2]
    for _ in range(FITS):
        angle, width = _polar(points, fit)
        c, s = np.cos(angle), np.sin(angle)
        shape = _shape(angle, fit.sides, fit.corner_rad)
        terms = [c, s, z * c, z * s, shape]
        if fit.sides:
            step = 1e-4
            terms.append(fit.radius * (_shape(angle, fit.sides, fit.corner_rad + step) - shape) / step)
        found = np.linalg.lstsq(np.column_stack(terms), width - fit.radius * shape, rcond=None)[0]
        turn = float(np.clip(found[5], -0.1 / fit.sides, 0.1 / fit.sides)) if fit.sides else 0.0
        fit = replace(
            fit, centre=fit.centre + found[:2], slope=fit.slope + found[2:4], radius=fit.radius + float(found[4]),
            corner_rad=fit.corner_rad + turn,
        )  # fmt: skip
    angle, width = _polar(points, fit)
    return replace(fit, left=width - fit.radius * _shape(angle, fit.sides, fit.corner_rad))


def _polar(points: FloatArray, fit: _Fit) -> tuple[FloatArray, FloatArray]:
    """Angle and distance (n,) of points about the fitted axis."""
    offset = _across(points, fit)
    return np.arctan2(offset[:, 1], offset[:, 0]), np.hypot(offset[:, 0], offset[:, 1])


def _across(points: FloatArray, fit: _Fit) -> FloatArray:
    """Offsets (..., 2) of points (..., 3) from the fitted axis."""
    offset: FloatArray = points[..., :2] - fit.centre - points[..., 2:] * fit.slope
    return offset


def _shape(angle: FloatArray, sides: int, corner_rad: float) -> FloatArray:
    """Radius of a polygon of equal sides at every angle, for a corner radius of one."""
    if not sides:
        return np.ones(len(angle))
    half = np.pi / sides
    shape: FloatArray = np.cos(half) / np.cos((angle - corner_rad) % (2 * half) - half)
    return shape


def _ends(points: FloatArray, scatter: float) -> tuple[float, float]:
    """Lowest and highest end: where most sectors of the wall end, then the middle of all corners found there."""
    z = points[:, 2]
    sector = ((np.arctan2(points[:, 1], points[:, 0]) / (2 * np.pi) + 0.5) * SECTORS).astype(np.int64) % SECTORS
    margin = 6 * scatter + 1e-4 * float(np.ptp(z))
    found = []
    for sign in (-1.0, 1.0):
        furthest = np.full(SECTORS, -np.inf)
        np.maximum.at(furthest, sector, sign * z)
        ends = np.sort(furthest[np.isfinite(furthest)])
        end = float(ends[(len(ends) - 1) // 2])  # one that is there: between two there may be no corner at all
        found.append(sign * float(np.median(sign * z[np.abs(sign * z - end) <= margin])))
    return found[0], found[1]


def _along(fit: _Fit, frame: FloatArray) -> FloatArray:
    """The fitted axis as a unit vector of the file's frame."""
    axis: FloatArray = frame @ np.append(fit.slope, 1.0)
    return axis / np.linalg.norm(axis)


def _diameters(points: FloatArray, fit: _Fit) -> tuple[float, float]:
    """Across the narrowest and the widest way: equal unless an oval stands out clearly from the scatter."""
    angle, _ = _polar(points, fit)
    wave = abs(complex((fit.left * np.exp(2j * angle)).sum())) * 2 / len(angle)
    clear = wave > OVAL_SIGNIFICANT * fit.scatter_mm / np.sqrt(len(angle)) and wave > OVAL_LEAST * fit.radius
    swing = wave if clear else 0.0
    return 2 * (fit.radius - swing), 2 * (fit.radius + swing)


def _sides(corners: FloatArray) -> FloatArray:
    """(3 k, 4) the sides of faces (k, 3, 2), each as x, y of both ends."""
    return np.concatenate([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 4)
