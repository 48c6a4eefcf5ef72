"""Turn loose triangles into shared vertices: exact merge first, welding only where a seam is open."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from meshcheck.types import FloatArray, IntArray

# A seam has a handful of vertices within reach of each other. Far more means a cloud, and listing its pairs
# would take memory that grows with the square of the count.
PAIRS_PER_VERTEX_MAX = 50


def merge_vertices(triangles: FloatArray, part: IntArray | None = None) -> tuple[FloatArray, IntArray]:
    """Merge corners whose coordinates are equal bit for bit.

    triangles (n, 3, 3). ``part`` (n,), when given, keeps corners of different parts apart. Returns vertices (v, 3)
    float64 in order of first use and faces (n, 3) int32.
    """
    corners = np.ascontiguousarray(triangles, dtype=np.float64).reshape(-1, 3) + 0.0  # turns -0.0 into 0.0
    label = np.zeros(len(corners), np.int32) if part is None else np.repeat(part, 3).astype(np.int32)
    index, first = _merge_bits(corners.view(np.uint64), label)
    return corners[first], index.reshape(-1, 3)


@njit(cache=True, nogil=True)
def _merge_bits(bits, label):  # type: ignore[no-untyped-def]
    """Open-addressing hash over coordinate bit patterns (m, 3) uint64: vertex of every corner, first corner of each."""
    corners = bits.shape[0]
    capacity = 16
    while capacity < 2 * corners:
        capacity *= 2
    mask = np.uint64(capacity - 1)
    table = np.full(capacity, -1, np.int32)
    index = np.empty(corners, np.int32)
    first = np.empty(corners, np.int32)
    count = 0
    for i in range(corners):
        x, y, z = bits[i, 0], bits[i, 1], bits[i, 2]
        h = x * np.uint64(0x9E3779B97F4A7C15) + np.uint64(label[i])
        h = (h ^ (h >> np.uint64(29)) ^ y) * np.uint64(0xBF58476D1CE4E5B9)
        h = (h ^ (h >> np.uint64(32)) ^ z) * np.uint64(0x94D049BB133111EB)
        slot = (h ^ (h >> np.uint64(31))) & mask
        while True:
            vertex = table[slot]
            if vertex < 0:
                table[slot] = count
                first[count] = i
                index[i] = count
                count += 1
                break
            f = first[vertex]
            if bits[f, 0] == x and bits[f, 1] == y and bits[f, 2] == z and label[f] == label[i]:
                index[i] = vertex
                break
            slot = (slot + np.uint64(1)) & mask
    return index, first[:count].copy()


def weld(vertices: FloatArray, faces: IntArray, seam: NDArray[np.bool_], reach: float) -> IntArray | None:
    """Join vertices on open seams that lie within ``reach`` of each other (same unit as the vertices).

    seam (v,) marks the vertices that may be joined. Returns the new faces, or None when nothing is within reach or
    the seam is a cloud in which "near" means nothing.
    """
    chosen = np.flatnonzero(seam)
    tree = cKDTree(vertices[chosen])
    if int(tree.count_neighbors(tree, reach)) - len(chosen) > 2 * PAIRS_PER_VERTEX_MAX * len(chosen):
        return None
    pairs: NDArray[Any] = tree.query_pairs(reach, output_type="ndarray")
    if not len(pairs):
        return None
    links = coo_array((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(chosen), len(chosen)))
    groups, group = connected_components(links, directed=False)
    first = np.full(groups, len(chosen), np.int64)
    np.minimum.at(first, group, np.arange(len(chosen)))
    target = np.arange(len(vertices), dtype=np.int32)
    target[chosen] = chosen[first[group]]
    return np.ascontiguousarray(target[faces])


def drop_collapsed(faces: IntArray) -> tuple[IntArray, int]:
    """Remove faces that use one vertex twice; returns the rest and how many went.

    A thin face with three different corners on one line stays: it has no area, but taking it out would open a seam.
    """
    a, b, c = faces.T
    sound = (a != b) & (b != c) & (c != a)
    gone = int(len(faces) - np.count_nonzero(sound))
    return (np.ascontiguousarray(faces[sound]), gone) if gone else (faces, 0)


def drop_twins(faces: IntArray) -> tuple[IntArray, int]:
    """Remove faces lying on each other; returns the rest and how many went.

    Of several faces with the same three corners and the same side out, one stays. Two that look in opposite
    directions are an inner wall without thickness (two boxes glued face to face): both go.
    """
    lowest = np.argmin(faces, axis=1)
    turned = np.take_along_axis(faces, (lowest[:, None] + np.arange(3)) % 3, axis=1)
    side = np.where(turned[:, 1] < turned[:, 2], 1, -1)
    _, group = np.unique(np.sort(faces, axis=1), axis=0, return_inverse=True)
    group = group.reshape(-1)
    balance = np.bincount(group, weights=side).astype(np.int64)
    wanted = np.sign(balance)[group]
    candidates = np.flatnonzero(side == wanted)
    _, first = np.unique(group[candidates], return_index=True)
    keep = np.sort(candidates[first])
    return np.ascontiguousarray(faces[keep]), len(faces) - len(keep)


def compact(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Leave out vertices that no face uses."""
    used = np.zeros(len(vertices), bool)
    used[faces.reshape(-1)] = True
    if used.all():
        return vertices, faces
    number = np.cumsum(used, dtype=np.int32) - np.int32(1)
    return np.ascontiguousarray(vertices[used]), number[faces]
