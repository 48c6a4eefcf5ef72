"""Bodies that share space: finding them, and their true union by manifold3d's booleans."""

from __future__ import annotations

import manifold3d
import numpy as np
from numpy.typing import NDArray

from meshcheck.nesting import Nesting, nest
from meshcheck.types import FloatArray, IntArray, Mesh, Topology, Unknown
from telling import told

PAIRS_TESTED_ONE_BY_ONE = 200  # beyond this one union of all is cheaper than the pairs
TOUCHING_SHARE = 1e-6  # shared volume below this part of the smaller body is a rounded touch, not an overlap


def bodies_overlap(vertices: FloatArray, faces: IntArray, nesting: Nesting) -> bool:
    """Whether any two closed bodies share space (a cavity in its body does not count)."""
    solids = _Solids(vertices, faces, nesting)
    pairs = solids.close_pairs()
    if len(pairs) <= PAIRS_TESTED_ONE_BY_ONE:
        return any(solids.share_space(first, second) for first, second in pairs)
    joined = solids.union(sorted({k for pair in pairs for k in pair}))
    if joined is None:
        return True
    apart = sum(solids.volume(k) for k in sorted({k for pair in pairs for k in pair}))
    return float(joined.volume()) < apart * (1 - TOUCHING_SHARE)


def union_overlapping(mesh: Mesh, topology: Topology) -> Mesh | Unknown:
    """The same solid with overlapping bodies joined, so that shared material exists once.

    The mesh itself when nothing overlaps; Unknown when it is not closed or a body cannot be joined.
    """
    if not topology.overlapping_bodies:
        return mesh
    if topology.open_edges or topology.flipped_edges:
        return Unknown(
            told("bodies overlap, and they cannot be joined because a surface is open or turned the wrong way")
        )
    closed = np.ones(topology.bodies, bool)
    solids = _Solids(mesh.vertices, mesh.faces, nest(mesh.vertices, mesh.faces, mesh.body, topology.bodies, closed))
    together = sorted({k for pair in solids.close_pairs() for k in pair})
    joined = solids.union(together)
    if joined is None:
        return Unknown(told("bodies overlap, and one of them is no clean solid, so they cannot be joined"))
    return _assemble(mesh, solids, together, joined)


class _Solids:
    """The outward bodies of a mesh, each with the cavities in it, as manifold3d solids made on demand."""

    def __init__(self, vertices: FloatArray, faces: IntArray, nesting: Nesting) -> None:
        self.vertices, self.faces, self.nesting = vertices, faces, nesting
        self.outward = [k for k in range(len(nesting.volume)) if nesting.closed[k] and nesting.volume[k] > 0]
        self._made: dict[int, manifold3d.Manifold | None] = {}

    def close_pairs(self) -> list[tuple[int, int]]:
        size = float(np.linalg.norm(self.vertices.max(axis=0) - self.vertices.min(axis=0)))
        return self.nesting.box_pairs(self.outward, 1e-7 * size)

    def members(self, body: int) -> list[int]:
        return [body, *self.nesting.voids_of(body)]

    def volume(self, body: int) -> float:
        return float(sum(self.nesting.volume[k] for k in self.members(body)))

    def share_space(self, first: int, second: int) -> bool:
        a, b = self.manifold(first), self.manifold(second)
        if a is None or b is None:
            return True  # a body that cannot be tested must not pass as free-standing
        return float((a ^ b).volume()) > TOUCHING_SHARE * min(self.volume(first), self.volume(second))

    def manifold(self, body: int) -> manifold3d.Manifold | None:
        if body not in self._made:
            numbers = np.concatenate([self.nesting.face_numbers(k) for k in self.members(body)])
            self._made[body] = _manifold(self.vertices, self.faces[numbers])
        return self._made[body]

    def union(self, bodies: list[int]) -> manifold3d.Manifold | None:
        made = [self.manifold(k) for k in bodies]
        if any(solid is None for solid in made):
            return None
        return manifold3d.Manifold.batch_boolean(made, manifold3d.OpType.Add)


def _manifold(vertices: FloatArray, faces: IntArray) -> manifold3d.Manifold | None:
    used, index = np.unique(faces, return_inverse=True)
    corners = np.ascontiguousarray(index.reshape(-1, 3), dtype=np.uint64)
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(vertices[used]), corners))
    return solid if solid.status() == manifold3d.Error.NoError else None


def _assemble(mesh: Mesh, solids: _Solids, together: list[int], joined: manifold3d.Manifold) -> Mesh:
    """The joined solid followed by the bodies that took no part."""
    consumed: NDArray[np.bool_] = np.zeros(len(solids.nesting.volume), bool)
    for k in together:
        consumed[solids.members(k)] = True
    rest = ~consumed[mesh.body]
    pieces = joined.decompose()
    vertices, faces, body = [mesh.vertices], [mesh.faces[rest]], [mesh.body[rest]]
    offset, number = len(mesh.vertices), len(consumed)
    for piece in pieces:
        made = piece.to_mesh64()
        vertices.append(np.asarray(made.vert_properties[:, :3], np.float64))
        faces.append(np.asarray(made.tri_verts, np.int32) + np.int32(offset))
        body.append(np.full(len(made.tri_verts), number, np.int32))
        offset, number = offset + len(made.vert_properties), number + 1
    every_face = np.concatenate(faces)
    used, index = np.unique(every_face, return_inverse=True)
    _, label = np.unique(np.concatenate(body), return_inverse=True)
    return Mesh(
        vertices=np.ascontiguousarray(np.concatenate(vertices)[used]),
        faces=index.reshape(-1, 3).astype(np.int32),
        body=label.reshape(-1).astype(np.int32),
    )
