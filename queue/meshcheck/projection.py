"""What is seen of a mesh from one side: which facets show, and in which order they are to be painted.

Depth is settled per pixel, not by a facet's middle: every pixel where one facet hides another says that the hidden one
is painted first, and the facets are sorted by those statements.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.types import FloatArray, IntArray

PAIRS_MOST = 2_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """points (n, 3) in pixels: x right, y down, z to the eye; faces (m, 3); order: visible faces in painting order."""

    points: FloatArray
    faces: IntArray
    source: IntArray  # (m,) number of the face in the mesh
    order: IntArray


def turned(points: FloatArray, elevation_deg: float, azimuth_deg: float) -> FloatArray:
    """Points as seen by an eye at an elevation (negative: from below) and azimuth: x right, y down, z to the eye."""
    e, a = np.radians(elevation_deg), np.radians(azimuth_deg)
    right = np.array([-np.sin(a), np.cos(a), 0.0])
    eye = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    down = -np.cross(eye, right)
    seen: FloatArray = np.ascontiguousarray(points @ np.stack([right, down, eye], axis=1))
    return seen


def clustered(points: FloatArray, faces: IntArray, faces_most: int) -> tuple[FloatArray, IntArray, IntArray]:
    """Join points on a grid until at most ``faces_most`` facets are left; returns points, faces, face numbers kept."""
    kept = np.arange(len(faces), dtype=np.int32)
    pitch = 1.0
    joined, reduced = points, faces
    while len(reduced) > faces_most:
        cells = np.round(points / pitch).astype(np.int64)
        _, first, where = np.unique(cells, axis=0, return_index=True, return_inverse=True)
        joined = points[first]
        reduced = where.reshape(-1)[faces].astype(np.int32)
        whole = (reduced[:, 0] != reduced[:, 1]) & (reduced[:, 1] != reduced[:, 2]) & (reduced[:, 2] != reduced[:, 0])
        kept = np.flatnonzero(whole).astype(np.int32)
        reduced = np.ascontiguousarray(reduced[whole])
        pitch *= 1.6
    return joined, reduced, kept


def look(points: FloatArray, faces: IntArray, *, both_sides: bool, width: int, height: int, faces_most: int) -> Seen:
    """Which of the facets show on a width x height picture. points (n, 3) in pixels as ``turned`` gives them."""
    points, faces, source = clustered(points, faces, faces_most)
    corners = points[faces]
    facing = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2]
    # y points down, so a facet turned to the eye runs clockwise on the picture
    front = np.abs(facing) > 1e-9 if both_sides else facing < -1e-9
    faces, source = np.ascontiguousarray(faces[front]), source[front]
    nearest = nearest_faces(points, faces, width, height)
    visible = np.unique(nearest[nearest >= 0]).astype(np.int32)
    shown = np.zeros(len(faces), np.bool_)
    shown[visible] = True
    pairs = _hidden_pairs(points, faces, nearest, shown, PAIRS_MOST)
    depth = points[faces][:, :, 2].mean(axis=1)
    return Seen(points, faces, source, _sorted(visible, np.unique(pairs), depth, len(faces)))


def _sorted(visible: IntArray, pairs: NDArray[np.int64], depth: FloatArray, count: int) -> IntArray:
    """Far to near, obeying every pair (hidden * count + hider); facets that hide each other in a ring break it at the
    farthest."""
    after: dict[int, list[int]] = {}
    waiting = dict.fromkeys(visible.tolist(), 0)
    for pair in pairs.tolist():
        hidden, hider = divmod(pair, count)
        after.setdefault(hidden, []).append(hider)
        waiting[hider] += 1
    ready = [(depth[face], face) for face, left in waiting.items() if left == 0]
    heapq.heapify(ready)
    rest = sorted(waiting, key=lambda face: depth[face], reverse=True)
    order: list[int] = []
    done: set[int] = set()
    while len(done) < len(waiting):
        if not ready:
            while rest[-1] in done:
                rest.pop()
            ready.append((depth[rest[-1]], rest[-1]))
        face = heapq.heappop(ready)[1]
        if face in done:
            continue
        done.add(face)
        order.append(face)
        for hider in after.get(face, ()):
            waiting[hider] -= 1
            if waiting[hider] == 0 and hider not in done:
                heapq.heappush(ready, (depth[hider], hider))
    return np.array(order, np.int32)


@njit(cache=True, nogil=True)
def _plane(points, face):  # type: ignore[no-untyped-def]
    """Depth over the picture as z = a x + b y + c, or a = nan for a facet seen edge on."""
    p, q, r = points[face[0]], points[face[1]], points[face[2]]
    ux, uy, uz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    vx, vy, vz = r[0] - p[0], r[1] - p[1], r[2] - p[2]
    nz = ux * vy - uy * vx
    if abs(nz) < 1e-9:
        return np.nan, np.nan, np.nan
    a = -(uy * vz - uz * vy) / nz
    b = -(uz * vx - ux * vz) / nz
    return a, b, p[2] - a * p[0] - b * p[1]


@njit(cache=True, nogil=True)
def _row_span(points, face, y):  # type: ignore[no-untyped-def]
    """First and last x where the row y crosses the facet; first > last when it does not."""
    low, high = np.inf, -np.inf
    for k in range(3):
        p, q = points[face[k]], points[face[(k + 1) % 3]]
        if (p[1] <= y) != (q[1] <= y):
            x = p[0] + (y - p[1]) / (q[1] - p[1]) * (q[0] - p[0])
            low, high = min(low, x), max(high, x)
    return low, high


@njit(cache=True, nogil=True)
def _rows(points, face, height):  # type: ignore[no-untyped-def]
    top = min(points[face[0], 1], points[face[1], 1], points[face[2], 1])
    bottom = max(points[face[0], 1], points[face[1], 1], points[face[2], 1])
    return max(0, int(np.ceil(top))), min(height - 1, int(np.floor(bottom)))


@njit(cache=True, nogil=True)
def nearest_faces(points, faces, width, height):  # type: ignore[no-untyped-def]
    """(height, width) int32: the facet nearest to the eye at each pixel, -1 for none."""
    depth = np.full((height, width), -np.inf)
    nearest = np.full((height, width), np.int32(-1))
    for i in range(faces.shape[0]):
        a, b, c = _plane(points, faces[i])
        if np.isnan(a):
            continue
        first, last = _rows(points, faces[i], height)
        for y in range(first, last + 1):
            low, high = _row_span(points, faces[i], y)
            if low > high:
                continue
            for x in range(max(0, int(np.ceil(low))), min(width - 1, int(np.floor(high))) + 1):
                z = a * x + b * y + c
                if z > depth[y, x]:
                    depth[y, x] = z
                    nearest[y, x] = i
    return nearest


@njit(cache=True, nogil=True)
def _hidden_pairs(points, faces, nearest, shown, most):  # type: ignore[no-untyped-def]
    """Pairs hidden * len(faces) + hider of visible facets, with repeats."""
    height, width = nearest.shape
    count = faces.shape[0]
    pairs = np.empty(most, np.int64)
    found = 0
    for i in range(count):
        if not shown[i]:
            continue
        first, last = _rows(points, faces[i], height)
        said = -1
        for y in range(first, last + 1):
            low, high = _row_span(points, faces[i], y)
            if low > high:
                continue
            for x in range(max(0, int(np.ceil(low))), min(width - 1, int(np.floor(high))) + 1):
                hider = nearest[y, x]
                if hider != i and hider >= 0 and hider != said and found < most:
                    pairs[found] = np.int64(i) * count + hider
                    found += 1
                    said = hider
    return pairs[:found]
