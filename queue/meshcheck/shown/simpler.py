"""A mesh of fewer triangles for showing; figures are never taken from it."""

from __future__ import annotations

import numpy as np
from manifold3d import Error, Manifold, Mesh64
from scipy.spatial import cKDTree

from meshcheck.edges import edge_table, face_normals
from meshcheck.projection import clustered
from meshcheck.shown.binary import ShownMesh
from meshcheck.shown.reasons import Flags
from meshcheck.types import FloatArray, IntArray, Mesh

FACES_MOST = 200_000
LINES_MOST = 40_000
SHARP_RAD = np.radians(25.0)
FIRST_TOLERANCE = 2e-5  # of the part's diagonal; 0.002 mm for 100 mm
GROWTH, TRIES = 3.0, 6  # the coarsest is 0.5 % of the diagonal
GRID = 4000.0  # cells along the diagonal the joining of corners starts with
NEAR = 6  # faces looked at for the one a new face stands for


def for_showing(mesh: Mesh, flags: Flags, faces_most: int = FACES_MOST) -> ShownMesh:
    """The mesh itself, or one of at most ``faces_most`` faces: joined where it is nearly flat, which a closed skin
    allows; else its corners joined on a grid."""
    measured = len(mesh.faces)
    if measured > faces_most:
        mesh, flags = _flattened(mesh, flags, faces_most) or _joined(mesh, flags, faces_most)
    used, numbers = np.unique(mesh.faces, return_inverse=True)
    mesh = Mesh(mesh.vertices[used], numbers.reshape(-1, 3).astype(np.int32), mesh.body)
    return ShownMesh(mesh.vertices, mesh.faces, _lines(mesh), flags, measured)


def _lines(mesh: Mesh) -> IntArray:
    """Edges where the skin turns sharply, ends or is crowded; the longest where they are too many."""
    table = edge_table(mesh)
    drawn = np.flatnonzero((np.abs(table.turn_rad) > SHARP_RAD) | (table.face_count != 2))
    if len(drawn) > LINES_MOST:
        longest = np.argsort(-table.length_mm[drawn], kind="stable")[:LINES_MOST]
        drawn = np.sort(drawn[longest])
    return table.ends[drawn]


def _flattened(mesh: Mesh, flags: Flags, faces_most: int) -> tuple[Mesh, Flags] | None:
    """Edges taken out as long as the skin moves by less than a tolerance that grows; None where the skin is not
    closed, or too many faces are left."""
    solid = Manifold(Mesh64(mesh.vertices, mesh.faces.astype(np.uint64)))
    if solid.status() != Error.NoError or solid.is_empty():
        return None
    tolerance = FIRST_TOLERANCE * float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    for _ in range(TRIES):
        solid = solid.simplify(tolerance)
        if solid.num_tri() <= faces_most:
            made = solid.to_mesh64()
            faces = np.asarray(made.tri_verts).astype(np.int32)
            vertices = np.asarray(made.vert_properties)[:, :3].astype(np.float64)
            simple = Mesh(vertices, faces, np.zeros(len(faces), np.int32))
            return simple, flags[_stands_for(simple.corners, mesh.corners)]
        tolerance *= GROWTH
    return None


def _stands_for(corners: FloatArray, measured: FloatArray) -> IntArray:
    """For every new face the measured one whose middle is near and that looks the same way."""
    _, near = cKDTree(measured.mean(axis=1)).query(corners.mean(axis=1), k=NEAR)
    normals, _ = face_normals(corners)
    others, _ = face_normals(measured)
    alike = np.einsum("ij,ikj->ik", normals, others[near])
    best = np.argmax(np.round(alike, 1), axis=1)  # the nearest of those that look about the same way
    chosen: IntArray = near[np.arange(len(near)), best].astype(np.int32)
    return chosen


def _joined(mesh: Mesh, flags: Flags, faces_most: int) -> tuple[Mesh, Flags]:
    scale = GRID / max(float(np.linalg.norm(np.ptp(mesh.vertices, axis=0))), 1e-9)
    points, faces, kept = clustered(mesh.vertices * scale, mesh.faces, faces_most)
    return Mesh(points / scale, faces, mesh.body[kept]), flags[kept]
