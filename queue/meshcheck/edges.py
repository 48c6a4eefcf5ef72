"""Which faces share which edge, and how sharply the skin turns there.

Everything here runs in time linear in the number of faces whatever the mesh looks like: the
half-edges are ordered by two counting sorts (first by their higher, then by their lower vertex),
so a fan of 100,000 faces about one vertex costs no more than a plain plate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from meshcheck.types import FloatArray, IntArray, Mesh

FLOAT32_STEP = 2.0**-23
# Text files are often written with this many decimals; a sample of the coordinates shows it.
DECIMALS = (1, 2, 3, 4)
DECIMALS_SAMPLE = 3000


@dataclass(frozen=True, slots=True, eq=False)
class EdgeTable:
    """Edges and face normals of a mesh of m faces and e edges.

    ids: (3 m,) edge of the side from corner k to corner k + 1 of face i, at ``3 i + k``.
    faces: (e, 2) the first two faces at each edge, -1 where there is none.
    face_count: (e,) how many faces meet there; 2 on a closed skin.
    ends: (e, 2) vertices, in the order in which the first face runs along them.
    turn_rad: (e,) angle between the two outward normals: positive where the skin is convex, negative
    where it is hollow, 0 on a flat; NaN where the edge is open or a face has no area.
    length_mm: (e,); direction: (e, 3) unit vectors, zero for an edge of no length.
    normals: (m, 3) outward unit normals, zero for a face of no area; area_mm2: (m,).
    normal_noise_rad: (m,) by how much rounding in the file may have turned each face: large for slivers.
    turn_noise_rad: (e,) the larger of the two beside each edge.
    """

    ids: IntArray
    faces: IntArray
    face_count: IntArray
    ends: IntArray
    turn_rad: FloatArray
    length_mm: FloatArray
    direction: FloatArray
    normals: FloatArray
    area_mm2: FloatArray
    normal_noise_rad: FloatArray
    turn_noise_rad: FloatArray

    @property
    def closed(self) -> bool:
        """Whether exactly two faces meet at every edge."""
        return bool((self.face_count == 2).all())


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


@njit(cache=True, nogil=True)
def _faces_of_edges(faces, ids, count):  # type: ignore[no-untyped-def]
    at_edge = np.full((count, 2), -1, np.int32)
    ends = np.empty((count, 2), np.int32)
    face_count = np.zeros(count, np.int32)
    for side in range(ids.size):
        e, i, k = ids[side], side // 3, side % 3
        n = face_count[e]
        if n == 0:
            ends[e, 0], ends[e, 1] = faces[i, k], faces[i, (k + 1) % 3]
        if n < 2:
            at_edge[e, n] = i
        face_count[e] = n + 1
    return at_edge, ends, face_count


def face_normals(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(m, 3) outward unit normals (zero where a face has no area) and (m,) areas of (m, 3, 3) corners."""
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    twice = np.sqrt(np.einsum("ij,ij->i", cross, cross))
    normals = cross / np.where(twice > 0, twice, 1.0)[:, None]
    return normals, twice / 2


def coordinate_step_mm(vertices: FloatArray) -> float:
    """How finely the file gives coordinates: the last decimal of a text file, else the last bit of a float32."""
    step = FLOAT32_STEP * float(np.abs(vertices).max(initial=0.0))
    sample = vertices[:: max(1, len(vertices) // DECIMALS_SAMPLE)]
    for decimals in DECIMALS:
        last = 10.0**-decimals
        if last > step and np.abs(np.round(sample, decimals) - sample).max(initial=0.0) <= step:
            return last
    return step


def normal_noise(corners: FloatArray, area: FloatArray, step_mm: float) -> FloatArray:
    """(k,) angle in radians by which corners (k, 3, 3) that are off by half a step in and out turn their face."""
    sides = corners - np.roll(corners, 1, axis=1)
    squared = np.einsum("ijk,ijk->ij", sides, sides)
    longest = np.sqrt(np.maximum(np.maximum(squared[:, 0], squared[:, 1]), squared[:, 2]))
    narrow = 2 * area / np.where(longest > 0, longest, 1.0)
    noise: FloatArray = np.arctan2(step_mm, narrow)
    return noise


def edge_table(mesh: Mesh) -> EdgeTable:
    """The edges of a mesh with their turn, length and direction."""
    ids, count = edge_ids(mesh.faces, len(mesh.vertices))
    at_edge, ends, face_count = _faces_of_edges(np.ascontiguousarray(mesh.faces, np.int32), ids, count)
    normals, area = face_normals(mesh.corners)
    along = mesh.vertices[ends[:, 1]] - mesh.vertices[ends[:, 0]]
    length = np.sqrt(np.einsum("ij,ij->i", along, along))
    direction = along / np.where(length > 0, length, 1.0)[:, None]
    first, second = normals[at_edge[:, 0]], normals[at_edge[:, 1]]
    sine = np.einsum("ij,ij->i", np.cross(first, second), direction)
    turn = np.arctan2(sine, np.einsum("ij,ij->i", first, second))
    flat_face = area <= 0
    undefined = (face_count != 2) | (length <= 0) | flat_face[at_edge[:, 0]] | flat_face[at_edge[:, 1]]
    turn[undefined] = np.nan
    noise = normal_noise(mesh.corners, area, coordinate_step_mm(mesh.vertices))
    turn_noise = np.maximum(noise[at_edge[:, 0]], noise[at_edge[:, 1]])
    return EdgeTable(ids, at_edge, face_count, ends, turn, length, direction, normals, area, noise, turn_noise)
