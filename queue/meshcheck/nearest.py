"""Points spread over faces, and how far points are from the nearest of many faces."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.boxtree import box_tree, curve_order, face_boxes
from meshcheck.types import FloatArray

CELL_SHARE = 0.8  # rows this close, in spacings: neighbouring rows need not be level with each other


def spread_points(corners: FloatArray, spacing_mm: float) -> FloatArray:
    """Points (k, 3) on faces (m, 3, 3), all corners among them; no point of a face is further than ``spacing_mm`` from
    one of its own."""
    if not len(corners):
        return np.zeros((0, 3))
    faces, step = np.ascontiguousarray(corners), CELL_SHARE * spacing_mm
    points = np.empty((int(_spread(faces, step, np.empty((0, 3)))), 3))
    _spread(faces, step, points)
    return points


def distances(points: FloatArray, corners: FloatArray) -> FloatArray:
    """Distance (k,) of points (k, 3) from the nearest of the faces (m, 3, 3); infinite without faces."""
    if not len(corners) or not len(points):
        return np.full(len(points), np.inf)
    vertices = corners.reshape(-1, 3)
    faces = np.arange(len(vertices), dtype=np.int32).reshape(-1, 3)
    low, high = face_boxes(vertices, faces)
    order = curve_order(low, high)
    boxes = box_tree(low[order], high[order])
    found: FloatArray = _distances(np.ascontiguousarray(points), np.ascontiguousarray(corners[order]), boxes)
    return found


@njit(cache=True, nogil=True)
def _spread(corners, spacing, points):  # type: ignore[no-untyped-def]
    """How many points there are: rows along the longest side of every face, so close and so closely filled that cells
    fit in the spacing. As many as ``points`` (k, 3) holds are written there."""
    total = 0
    for f in range(corners.shape[0]):
        longest, start = -1.0, 0
        for k in range(3):
            side = np.linalg.norm(corners[f, (k + 1) % 3] - corners[f, k])
            if side > longest:
                longest, start = side, k  # type: ignore[assignment]
        a, b, c = corners[f, start], corners[f, (start + 1) % 3], corners[f, (start + 2) % 3]
        across = np.linalg.norm(np.cross(b - a, c - a)) / longest if longest > 0 else 0.0
        rows = max(int(np.ceil(across / spacing)), 1)
        for i in range(rows + 1):
            share = i / rows
            left, right = a + (c - a) * share, b + (c - b) * share
            count = int(np.ceil(longest * (1 - share) / spacing))
            for j in range(count + 1):
                if total < points.shape[0]:
                    points[total] = left + (right - left) * (j / count if count else 0.0)
                total += 1
    return total


@njit(cache=True, nogil=True)
def _distances(points, corners, boxes):  # type: ignore[no-untyped-def]
    """Down the tree, the nearer child first, leaving out boxes further than the best so far."""
    p = boxes.shape[0] // 2
    out = np.empty(points.shape[0])
    stack = np.empty(128, np.int64)
    for i in range(points.shape[0]):
        best = np.inf
        stack[0] = 1
        height = 1
        while height > 0:
            height -= 1
            node = stack[height]
            if _box_distance(points[i], boxes[node]) >= best:
                continue
            if node >= p:
                if node - p < corners.shape[0]:
                    best = min(best, _face_distance(points[i], corners[node - p]))
                continue
            first, second = 2 * node, 2 * node + 1
            if _box_distance(points[i], boxes[first]) < _box_distance(points[i], boxes[second]):
                first, second = second, first
            stack[height], stack[height + 1] = first, second
            height += 2
        out[i] = np.sqrt(best)
    return out


@njit(cache=True, nogil=True)
def _box_distance(point, box):  # type: ignore[no-untyped-def]
    """Squared distance of a point from a box."""
    total = 0.0
    for axis in range(3):
        beyond = max(box[axis] - point[axis], point[axis] - box[3 + axis], 0.0)
        total += beyond * beyond
    return total


@njit(cache=True, nogil=True)
def _face_distance(point, corners):  # type: ignore[no-untyped-def]
    """Squared distance of a point from a triangle: its plane where the foot lies inside, else the nearest side."""
    ux, uy, uz = corners[1, 0] - corners[0, 0], corners[1, 1] - corners[0, 1], corners[1, 2] - corners[0, 2]
    vx, vy, vz = corners[2, 0] - corners[0, 0], corners[2, 1] - corners[0, 1], corners[2, 2] - corners[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    square = nx * nx + ny * ny + nz * nz
    inside = square > 0
    best = np.inf
    for k in range(3):
        j = (k + 1) % 3
        ax, ay, az = corners[j, 0] - corners[k, 0], corners[j, 1] - corners[k, 1], corners[j, 2] - corners[k, 2]
        px, py, pz = point[0] - corners[k, 0], point[1] - corners[k, 1], point[2] - corners[k, 2]
        if (ay * pz - az * py) * nx + (az * px - ax * pz) * ny + (ax * py - ay * px) * nz < 0:
            inside = False
        length = ax * ax + ay * ay + az * az
        share = 0.0 if length <= 0 else min(max((px * ax + py * ay + pz * az) / length, 0.0), 1.0)
        dx, dy, dz = px - share * ax, py - share * ay, pz - share * az
        best = min(best, dx * dx + dy * dy + dz * dz)
    if inside:
        height = (point[0] - corners[0, 0]) * nx + (point[1] - corners[0, 1]) * ny + (point[2] - corners[0, 2]) * nz
        return height * height / square
    return best
