"""Small helpers over manifold3d shared by the parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold
from numpy.typing import NDArray

Vertices: TypeAlias = NDArray[np.float64]
Faces: TypeAlias = NDArray[np.int32]
MeshArrays: TypeAlias = tuple[Vertices, Faces]

GRID_MM = 1e-4  # far below any printer; makes the written numbers the same on every machine


def circle(diameter_mm: float, facets: int) -> CrossSection:
    """A regular polygon whose corners lie on the circle, the first on +x."""
    return CrossSection.circle(diameter_mm / 2, facets)


def polygon(points: Sequence[tuple[float, float]]) -> CrossSection:
    """One closed outline, counter-clockwise."""
    return CrossSection([np.asarray(points, np.float64)])


def box(x_mm: tuple[float, float], y_mm: tuple[float, float]) -> CrossSection:
    """The rectangle between two x and two y."""
    return CrossSection.square((x_mm[1] - x_mm[0], y_mm[1] - y_mm[0])).translate((x_mm[0], y_mm[0]))


def rounded_box(length_mm: float, width_mm: float, radius_mm: float, facets: int = 48) -> CrossSection:
    """A rectangle about the origin with rounded corners."""
    inner = CrossSection.square((length_mm - 2 * radius_mm, width_mm - 2 * radius_mm), True)
    return inner.offset(radius_mm, JoinType.Round, 2.0, facets)


def union(shapes: Sequence[CrossSection]) -> CrossSection:
    """All outlines joined."""
    total = CrossSection()
    for shape in shapes:
        total += shape
    return total


def mesh_arrays(solid: Manifold) -> MeshArrays:
    """Vertices (n, 3) float64 mm on the 0.0001 mm grid and faces (m, 3) int32, in canonical order.

    The order depends on the geometry alone, so that a rebuild writes the same bytes.
    """
    # Joining leaves corners in the middle of flat faces; they would sit on the hole's edge and blur its roundness.
    mesh = solid.as_original().simplify(GRID_MM / 10).to_mesh64()
    return canonical(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.int64))


def canonical(vertices: Vertices, faces: NDArray[np.int64]) -> MeshArrays:
    """Same surface with vertices on the grid and in lexical order, faces without zero area, sorted."""
    on_grid = np.round(vertices / GRID_MM) * GRID_MM
    on_grid = np.round(on_grid, 4) + 0.0  # + 0.0 turns -0.0 into 0.0
    unique, index = np.unique(on_grid, axis=0, return_inverse=True)
    renamed = index.reshape(-1)[faces]
    a, b, c = renamed.T
    renamed = renamed[(a != b) & (b != c) & (c != a)]
    first = np.argmin(renamed, axis=1)
    turned = np.take_along_axis(renamed, (first[:, None] + np.arange(3)) % 3, axis=1)
    ordered = turned[np.lexsort(turned.T[::-1])]
    return np.ascontiguousarray(unique), np.ascontiguousarray(ordered.astype(np.int32))


def joined(parts: Sequence[MeshArrays]) -> MeshArrays:
    """Several meshes as one, without any boolean: overlapping shells stay overlapping."""
    counts = np.cumsum([0, *(len(v) for v, _ in parts)])
    vertices = np.vstack([v for v, _ in parts])
    faces = np.vstack([f + start for (_, f), start in zip(parts, counts, strict=False)])
    return vertices, faces.astype(np.int32)
