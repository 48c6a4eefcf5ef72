"""Turn loose triangles into shared vertices: exact merge first, welding only where a seam is open."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.topology import root_of
from meshcheck.types import FloatArray, IntArray

# On a seam a point meets a handful of neighbours. Far more means a cloud, and its pairs grow with the square.
STEPS_PER_POINT_MAX = 100


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
    points = vertices[chosen]
    joined, root = _near_groups(points - points.min(axis=0), reach)
    if joined <= 0:
        return None
    target = np.arange(len(vertices), dtype=np.int32)
    target[chosen] = chosen[root]
    return np.ascontiguousarray(target[faces])


@njit(cache=True, nogil=True)
def _near_groups(points, reach):  # type: ignore[no-untyped-def]
    """Group points (n, 3), all >= 0, through chains of neighbours within reach.

    Points are kept in cells of twice the reach, so that the neighbours of one lie in its cell or the seven nearest.
    Returns how many points joined an earlier one (-1 for a cloud) and the first point of everyone's group.
    """
    count = points.shape[0]
    capacity = 16
    while capacity < 2 * count:
        capacity *= 2
    mask = np.uint64(capacity - 1)
    head = np.full(capacity, -1, np.int32)
    following = np.full(count, -1, np.int32)
    parent = np.arange(count).astype(np.int32)
    cell = np.empty(3, np.int64)
    toward = np.empty(3, np.int64)
    steps = 0
    for i in range(count):
        for axis in range(3):
            place = points[i, axis] / (2 * reach)
            cell[axis] = np.int64(place)
            toward[axis] = 1 if place - cell[axis] >= 0.5 else -1
        for corner in range(7, -1, -1):  # the point's own cell comes last: its slot is where the point goes
            slot = np.uint64(0)
            for axis in range(3):
                step = toward[axis] if corner >> axis & 1 else np.int64(0)
                slot = (slot ^ np.uint64(cell[axis] + step)) * np.uint64(0x9E3779B97F4A7C15)
                slot ^= slot >> np.uint64(32)
            slot &= mask
            j = head[slot]
            while j >= 0:
                steps += 1
                dx, dy, dz = points[i, 0] - points[j, 0], points[i, 1] - points[j, 1], points[i, 2] - points[j, 2]
                if dx * dx + dy * dy + dz * dz <= reach * reach:
                    a, b = root_of(parent, i), root_of(parent, j)
                    parent[max(a, b)] = min(a, b)
                j = following[j]
            if steps > STEPS_PER_POINT_MAX * (count + 1):
                return -1, parent
        following[i] = head[slot]
        head[slot] = i
    joined = 0
    for i in range(count):
        parent[i] = root_of(parent, i)
        joined += parent[i] != i
    return joined, parent


def drop_collapsed(faces: IntArray) -> tuple[IntArray, int]:
    """Remove faces that use one vertex twice; returns the rest and how many went.

    A thin face with three different corners on one line stays: it has no area, but taking it out would open a seam.
    """
    a, b, c = faces.T
    sound = (a != b) & (b != c) & (c != a)
    gone = int(len(faces) - np.count_nonzero(sound))
    return (np.ascontiguousarray(faces[sound]), gone) if gone else (faces, 0)


def drop_twins(faces: IntArray) -> tuple[IntArray, int]:
    """Of faces with the same corners and the same side out, keep the first; returns the rest and how many went."""
    lowest = np.argmin(faces, axis=1)
    turned = np.take_along_axis(faces, (lowest[:, None] + np.arange(3)) % 3, axis=1)
    _, first = np.unique(turned, axis=0, return_index=True)
    return np.ascontiguousarray(faces[np.sort(first)]), len(faces) - len(first)


def compact(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Leave out vertices that no face uses."""
    used = np.zeros(len(vertices), bool)
    used[faces.reshape(-1)] = True
    if used.all():
        return vertices, faces
    number = np.cumsum(used, dtype=np.int32) - np.int32(1)
    return np.ascontiguousarray(vertices[used]), number[faces]
