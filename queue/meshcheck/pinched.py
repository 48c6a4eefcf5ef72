"""Edges at which one surface meets itself, so that giving it corners of its own cannot part the two sheets.

Both sheets then keep the same two ends. Each pair of faces but the first gets a new corner in the middle of the edge:
nothing moves, and every edge belongs to two faces again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcheck.types import FloatArray, IntArray


def split_pinched(
    vertices: FloatArray, faces: IntArray, pairs: IntArray, edge: IntArray
) -> tuple[FloatArray, IntArray]:
    """Vertices and faces with the pinched edges split. pairs (k, 2): sides (3 * face + corner) that belong together;
    edge (k,): the edge all of them lay on. Pairs of one edge that still share both ends are split, the first is not.
    Faces keep their places; what is cut off them comes after the last."""
    first = faces[pairs[:, 0] // 3, pairs[:, 0] % 3]
    second = faces[pairs[:, 0] // 3, (pairs[:, 0] % 3 + 1) % 3]
    ends = np.column_stack([edge, np.minimum(first, second), np.maximum(first, second)])
    _, kept = np.unique(ends, axis=0, return_index=True)
    again = np.ones(len(pairs), np.bool_)
    again[kept] = False
    if not again.any():
        return vertices, faces
    chosen = np.flatnonzero(again)
    middle = (vertices[ends[chosen, 1]] + vertices[ends[chosen, 2]]) / 2
    number = len(vertices) + np.arange(len(chosen))
    cuts: dict[int, dict[int, int]] = {}
    for vertex, pair in zip(number.tolist(), pairs[chosen].tolist(), strict=True):
        for side in pair:
            cuts.setdefault(side // 3, {})[side % 3] = vertex
    split = faces.copy()
    more: list[list[int]] = []
    for face, at in cuts.items():
        own, *rest = _cut_face(faces[face].tolist(), at)
        split[face] = own
        more += rest
    return np.vstack([vertices, middle]), np.vstack([split, np.array(more, np.int32)]).astype(np.int32)


def _cut_face(corners: list[int], at: dict[int, int]) -> list[list[int]]:
    """Triangles of a face with extra corners in the middle of some sides, by side: one, two or all three."""
    if len(at) == 3:
        (a, b, c), (p, q, r) = corners, (at[0], at[1], at[2])
        return [[p, q, r], [a, p, r], [p, b, q], [q, c, r]]
    k = min(at) if len(at) == 1 or sorted(at) != [0, 2] else 2
    a, b, c = corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3]
    p = at[k]
    if len(at) == 1:
        return [[a, p, c], [p, b, c]]
    q = at[(k + 1) % 3]
    return [[p, b, q], [a, p, q], [a, q, c]]


def sides_in_pairs(order: IntArray, starts: IntArray, pairable: NDArray[np.bool_]) -> tuple[IntArray, IntArray]:
    """Pairs (k, 2) of the sides at pairable edges, where ``order`` lists them two by two, and the edge of each (k,)."""
    count = np.diff(starts) // 2 * pairable
    edge = np.repeat(np.arange(len(pairable)), count)
    within = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    at = starts[:-1][edge] + 2 * within
    return np.column_stack([order[at], order[at + 1]]), edge.astype(np.int32)
