"""Number the edges of a mesh, so that the two faces beside an edge can find each other."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.types import IntArray


def edge_ids(faces: IntArray, vertex_count: int) -> tuple[IntArray, int]:
    """The undirected edge on every side of every face.

    faces (m, 3) int32. Returns ids (3m,) int32, where ``ids[3 * i + k]`` is the edge from corner k to corner k + 1
    of face i, and the number of different edges. Edges are numbered by their lower, then their higher vertex.
    """
    faces = np.ascontiguousarray(faces, dtype=np.int32)
    following = np.roll(faces, -1, axis=1)
    lower = np.minimum(faces, following).reshape(-1)
    higher = np.maximum(faces, following).reshape(-1)
    ids, count = _number_pairs(lower, higher, vertex_count)
    return ids, int(count)


@njit(cache=True, nogil=True)
def _number_pairs(lower, higher, vertex_count):  # type: ignore[no-untyped-def]
    """Two counting sorts, by the higher and then (stable) by the lower vertex: linear also for fans of any size."""
    sides = lower.size
    order = np.arange(sides).astype(np.int32)
    for key in (higher, lower):
        start = np.zeros(vertex_count + 1, np.int32)
        for i in range(sides):
            start[key[i] + 1] += 1
        for v in range(vertex_count):
            start[v + 1] += start[v]
        reordered = np.empty(sides, np.int32)
        for i in range(sides):
            side = order[i]
            reordered[start[key[side]]] = side
            start[key[side]] += 1
        order = reordered
    ids = np.empty(sides, np.int32)
    count = 0
    for i in range(sides):
        side = order[i]
        if i > 0 and (lower[side] != lower[order[i - 1]] or higher[side] != higher[order[i - 1]]):
            count += 1
        ids[side] = count
    return ids, count + 1 if sides > 0 else 0
