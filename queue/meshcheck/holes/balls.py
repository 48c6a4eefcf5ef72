"""A ball around every face, worked out once: what is done hole by hole then passes most faces by."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.types import FloatArray, IntArray, Mesh


def face_balls(mesh: Mesh) -> FloatArray:
    """(m, 4) a ball around every face: middle and radius in mm."""
    balls = np.empty((len(mesh.faces), 4))
    _fill_balls(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces, np.int32), balls)
    return balls


def faces_around(
    balls: FloatArray, axis: FloatArray, middle_mm: FloatArray, reach_mm: float, half_mm: float
) -> IntArray:
    """Faces whose ball comes nearer than ``reach_mm`` to an axis (unit vector) within ``half_mm`` of a point on it."""
    along, middle = np.ascontiguousarray(axis), np.ascontiguousarray(middle_mm)
    near: IntArray = _around(balls, along, middle, float(reach_mm), float(half_mm))
    return near


@njit(cache=True, nogil=True)
def _fill_balls(vertices, faces, balls):  # type: ignore[no-untyped-def]
    """Balls about the mean of each face's corners."""
    for i in range(faces.shape[0]):
        a, b, c = faces[i, 0], faces[i, 1], faces[i, 2]
        for axis in range(3):
            balls[i, axis] = (vertices[a, axis] + vertices[b, axis] + vertices[c, axis]) / 3
        most = 0.0
        for k in range(3):
            v = faces[i, k]
            dx, dy, dz = vertices[v, 0] - balls[i, 0], vertices[v, 1] - balls[i, 1], vertices[v, 2] - balls[i, 2]
            most = max(most, dx * dx + dy * dy + dz * dz)
        balls[i, 3] = np.sqrt(most) * (1 + 1e-9)


@njit(cache=True, nogil=True)
def _around(balls, axis, middle, reach, half):  # type: ignore[no-untyped-def]
    """Numbers of the balls that come near to a stretch of an axis."""
    count = 0
    out = np.empty(balls.shape[0], np.int32)
    for i in range(balls.shape[0]):
        dx, dy, dz = balls[i, 0] - middle[0], balls[i, 1] - middle[1], balls[i, 2] - middle[2]
        along = dx * axis[0] + dy * axis[1] + dz * axis[2]
        near = reach + balls[i, 3]
        if abs(along) <= half + balls[i, 3] and dx * dx + dy * dy + dz * dz - along * along <= near * near:
            out[count] = i
            count += 1
    return out[:count].copy()
