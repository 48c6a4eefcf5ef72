"""Thin the contours of layers: fewer points, within a tolerance, and in a form that equal layers share."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.types import FloatArray

STRAIGHT_MM = 1e-7  # a point this close to its neighbours' chord comes from a triangle's diagonal, not from the shape
_REACH = 64  # points one chord may replace: bounds the work on very fine contours


def thin(points_mm: FloatArray, starts: NDArray[np.int64], tolerance_mm: float) -> tuple[FloatArray, NDArray[np.int64]]:
    """Contours with fewer points: points (p, 2) and starts (c + 1,), as many contours as came in.

    Points on straight runs go first, and each contour then begins at its lowest-x corner, so that two layers of an
    upright wall give the same points although their triangles were cut elsewhere. After that a chord replaces the
    points that lie within ``tolerance_mm`` of it. A contour without area comes back with no points.
    """
    thinned, thinned_starts = _thin(points_mm, starts, tolerance_mm, STRAIGHT_MM)
    return thinned, thinned_starts


def contour_areas(points_mm: FloatArray, starts: NDArray[np.int64]) -> FloatArray:
    """Signed area (c,) of every contour in mm2, by the shoelace formula."""
    following = np.arange(1, len(points_mm) + 1)
    sizes = np.diff(starts)
    filled = sizes > 0
    following[starts[1:][filled] - 1] = starts[:-1][filled]
    x, y = points_mm.T
    double = x * y[following] - x[following] * y
    owner = np.repeat(np.arange(len(sizes)), sizes)
    areas: FloatArray = np.bincount(owner, double / 2, len(sizes)).astype(np.float64)
    return areas


@njit(cache=True, nogil=True)
def _beside(ax, ay, bx, by, px, py, tolerance):  # type: ignore[no-untyped-def]
    """Whether p lies between a and b and within the tolerance of the line through them."""
    dx = bx - ax
    dy = by - ay
    ex = px - ax
    ey = py - ay
    square = dx * dx + dy * dy
    across = ex * dy - ey * dx
    along = ex * dx + ey * dy
    return across * across <= tolerance * tolerance * square and 0 <= along <= square


@njit(cache=True, nogil=True)
def _corners(points, corner, straight):  # type: ignore[no-untyped-def]
    """Copy the real corners of one contour into ``corner``, from its lowest-x one on; returns first and end there."""
    size = points.shape[0]
    seed = 0
    for i in range(1, size):
        step = points[i, 0] - points[seed, 0]
        if step < -1e-6 or (step <= 1e-6 and points[i, 1] < points[seed, 1]):
            seed = i
    kept = 0
    for i in range(size):
        p = points[(seed + i) % size]
        q = points[(seed + i + 1) % size]
        if kept == 0 or not _beside(corner[kept - 1, 0], corner[kept - 1, 1], q[0], q[1], p[0], p[1], straight):
            corner[kept, 0] = p[0]
            corner[kept, 1] = p[1]
            kept += 1
    a = corner[kept - 1]
    if kept > 3 and _beside(a[0], a[1], corner[1, 0], corner[1, 1], corner[0, 0], corner[0, 1], straight):
        return 1, kept
    return 0, kept


@njit(cache=True, nogil=True)
def _chord_end(corner, first, kept, i, tolerance):  # type: ignore[no-untyped-def]
    """The furthest corner a chord from corner i may reach; ``kept`` stands for the first one."""
    best = i + 1
    for end in range(i + 2, min(kept, i + _REACH) + 1):
        to = corner[end] if end < kept else corner[first]
        if end == kept and i == first:
            break
        for k in range(i + 1, end):
            if not _beside(corner[i, 0], corner[i, 1], to[0], to[1], corner[k, 0], corner[k, 1], tolerance):
                return best
        best = end
    return best


@njit(cache=True, nogil=True)
def _thin(points, starts, tolerance, straight):  # type: ignore[no-untyped-def]
    out = np.empty_like(points)
    out_starts = np.zeros_like(starts)
    corner = np.empty((points.shape[0] + 1, 2))
    filled = 0
    for contour in range(starts.size - 1):
        first, kept = _corners(points[starts[contour] : starts[contour + 1]], corner, straight)
        begun = filled
        i = first
        while i < kept:
            out[filled] = corner[i]
            filled += 1
            i = _chord_end(corner, first, kept, i, tolerance)
        if filled - begun < 3:  # smaller than the tolerance: keep what the straight runs left, if that is a shape
            filled = begun
            if kept - first >= 3:
                out[filled : filled + kept - first] = corner[first:kept]
                filled += kept - first
        out_starts[contour + 1] = filled
    return out[:filled], out_starts
