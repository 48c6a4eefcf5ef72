"""How the faces of a mesh hang together along their edges, and which bodies they make."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.edges import edge_ids
from meshcheck.types import IntArray

OPEN, CROWDED, FLIPPED = 1, 2, 4  # bits of ``EdgeScan.face_flags``


@dataclass(frozen=True, slots=True, eq=False)
class EdgeScan:
    """Edges counted by what is wrong with them, and the connected bodies.

    face_flags (m,) uint8 has OPEN, CROWDED, FLIPPED set where a face touches such an edge; body (m,) int32.
    """

    open_edges: int
    crowded_edges: int
    flipped_edges: int
    face_flags: NDArray[np.uint8]
    body: IntArray
    bodies: int

    def seam(self, faces: IntArray, vertex_count: int) -> NDArray[np.bool_]:
        """The vertices of faces with an open edge, as a mask (vertex_count,)."""
        mask = np.zeros(vertex_count, bool)
        mask[faces[(self.face_flags & OPEN) > 0].reshape(-1)] = True
        return mask


def scan_edges(faces: IntArray, vertex_count: int) -> EdgeScan:
    """Count open, crowded and flipped edges and label the bodies, in linear time. faces (m, 3) int32.

    Faces belong to one body when they share an edge of exactly two faces: two boxes that merely touch along an
    edge stay two bodies. An edge is flipped when its faces do not run along it equally often in both directions.
    """
    ids, edges = edge_ids(faces, vertex_count)
    open_, crowded, flipped, flags, body, bodies = _scan(faces, ids, edges)
    return EdgeScan(int(open_), int(crowded), int(flipped), flags, body, int(bodies))


@njit(cache=True, nogil=True)
def root_of(parent, i):  # type: ignore[no-untyped-def]
    """The representative of i in a union-find forest; shortens the way to it."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def _scan(faces, ids, edges):  # type: ignore[no-untyped-def]
    count = np.zeros(edges, np.int32)
    balance = np.zeros(edges, np.int32)
    first_face = np.full(edges, -1, np.int32)
    parent = np.arange(faces.shape[0]).astype(np.int32)
    for side in range(ids.size):
        edge, face = ids[side], side // 3
        rises = faces[face, side % 3] < faces[face, (side + 1) % 3]
        count[edge] += 1
        balance[edge] += 1 if rises else -1
        if first_face[edge] < 0:
            first_face[edge] = face
    flags = np.zeros(faces.shape[0], np.uint8)
    for side in range(ids.size):
        edge, face = ids[side], side // 3
        if count[edge] == 1:
            flags[face] |= OPEN
        elif count[edge] == 2:
            a, b = root_of(parent, face), root_of(parent, first_face[edge])
            parent[max(a, b)] = min(a, b)
        else:
            flags[face] |= CROWDED
        if count[edge] > 1 and balance[edge] != 0:
            flags[face] |= FLIPPED
    open_edges, crowded_edges, flipped_edges = 0, 0, 0
    for edge in range(edges):
        open_edges += count[edge] == 1
        crowded_edges += count[edge] > 2
        flipped_edges += count[edge] > 1 and balance[edge] != 0
    body = np.empty(faces.shape[0], np.int32)
    bodies = 0
    for face in range(faces.shape[0]):
        root = root_of(parent, face)
        if root == face:
            body[face] = bodies
            bodies += 1
        else:
            body[face] = body[root]  # the root is the lowest face of its body, so it is labelled already
    return open_edges, crowded_edges, flipped_edges, flags, body, bodies
