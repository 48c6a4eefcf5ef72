"""Pairs of triangles whose boxes meet, by a tree of boxes: faces in the order of a space-filling curve, halved again
and again. Linear memory, and never more pairs looked at than allowed."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.types import FloatArray, IntArray

SAMPLE = 20_000  # faces that tell the main directions
_CELLS = 1024.0  # of the space-filling curve along each axis


def frame_of_small_boxes(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """A rotation (3, 3) in which the boxes of long faces are slim: along the main directions of the sides, where that
    helps. The facets of a slanting cylinder would otherwise all have the same huge box."""
    faces = faces[:: max(1, len(faces) // SAMPLE)]
    sides = (vertices[np.roll(faces, -1, axis=1)] - vertices[faces]).reshape(-1, 3)
    length = np.sqrt(np.einsum("ij,ij->i", sides, sides))
    along = sides / np.sqrt(np.where(length > 0, length, 1.0))[:, None]
    _, directions = np.linalg.eigh(along.T @ along)
    if _box_area(vertices @ directions, faces) < 0.8 * _box_area(vertices, faces):
        rotation: FloatArray = directions
        return rotation
    return np.eye(3)


def _box_area(vertices: FloatArray, faces: IntArray) -> float:
    low, high = face_boxes(vertices, faces)
    x, y, z = (high - low).T
    return float((x * y + y * z + z * x).sum())


def face_boxes(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest corner (m, 3) of every face's box."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def curve_order(low: FloatArray, high: FloatArray) -> NDArray[np.int64]:
    """Faces (m,) in the order in which a Z-shaped curve through space meets the middles of their boxes."""
    middle = low + high
    corner = middle.min(axis=0)
    spread = float(np.max(middle.max(axis=0) - corner))
    cell = np.minimum((middle - corner) * (_CELLS / spread if spread > 0 else 0.0), _CELLS - 1).astype(np.int64)
    return np.argsort(_spread_bits(cell[:, 0]) | _spread_bits(cell[:, 1]) << 1 | _spread_bits(cell[:, 2]) << 2)


def _spread_bits(value: NDArray[np.int64]) -> NDArray[np.int64]:
    """Ten bits with two free places after each."""
    for shift, mask in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
        value = (value | value << shift) & mask
    return value


@njit(cache=True, nogil=True)
def box_tree(low, high):  # type: ignore[no-untyped-def]
    """Boxes (2 p, 6) of a full binary tree over faces' boxes (m, 3) in order: node 1 is the root, node k has the
    children 2 k and 2 k + 1, node p + i is face i, or empty beyond the last."""
    p = 1
    while p < low.shape[0]:
        p *= 2
    boxes = np.empty((2 * p, 6))
    boxes[:, :3] = np.inf
    boxes[:, 3:] = -np.inf
    for i in range(low.shape[0]):
        boxes[p + i, :3], boxes[p + i, 3:] = low[i], high[i]
    for node in range(p - 1, 0, -1):
        for axis in range(3):
            boxes[node, axis] = min(boxes[2 * node, axis], boxes[2 * node + 1, axis])
            boxes[node, 3 + axis] = max(boxes[2 * node, 3 + axis], boxes[2 * node + 1, 3 + axis])
    return boxes


@njit(cache=True, nogil=True)
def boxes_meet(boxes, a, b):  # type: ignore[no-untyped-def]
    """Whether two nodes' boxes share a point."""
    apart = False
    for axis in range(3):
        apart = apart or boxes[a, axis] > boxes[b, 3 + axis] or boxes[b, axis] > boxes[a, 3 + axis]
    return not apart
