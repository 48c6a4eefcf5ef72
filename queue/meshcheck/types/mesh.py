"""Triangles as read, the mesh they make, and how it hangs together."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from meshcheck.types.plain import FloatArray, IntArray, Note, Unit


@dataclass(frozen=True, slots=True, eq=False)
class RawMesh:
    """A file's triangles as read, before repair.

    triangles: (n, 3, 3) float64, file units. ``declared_faces`` is what the file itself says,
    where its format says it. ``unit`` is set only when the format declares one (3MF).
    """

    triangles: FloatArray
    format: Literal["stl-binary", "stl-ascii", "obj", "3mf"]
    declared_faces: int | None = None
    unit: Unit | None = None
    objects: int = 1
    notes: tuple[Note, ...] = ()
    part: IntArray | None = None  # (n,) object of every face where the format tells; never merged across objects


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Merged mesh in millimetres. vertices (n, 3) float64, faces (m, 3) int32, body (m,) int32."""

    vertices: FloatArray
    faces: IntArray
    body: IntArray

    @property
    def corners(self) -> FloatArray:
        """(m, 3, 3) corner coordinates of every face."""
        corners: FloatArray = self.vertices[self.faces]
        return corners


@dataclass(frozen=True, slots=True, eq=False)
class Topology:
    """How the faces hang together. Edge counts are after repair; what repair did is told apart."""

    faces: int
    vertices: int
    bodies: int
    open_edges: int
    crowded_edges: int  # shared by more than two faces
    flipped_edges: int  # the two faces disagree about which side is out
    zero_area_faces: int  # skipped
    welded: bool  # vertices had to be joined within 1e-6 of the diagonal
    turned_bodies: int  # inside-out bodies turned right side out
    overlapping_bodies: bool
    open_edge_faces: IntArray = field(default_factory=lambda: np.zeros(0, np.int32))
    twin_faces: int = 0  # faces lying exactly on another one, left out
    touching_edges: int = 0  # where surfaces touch along an edge; told apart, so they are not crowded

    @property
    def watertight(self) -> bool:
        return self.open_edges == 0 and self.crowded_edges == 0

    @property
    def winding_consistent(self) -> bool:
        return self.flipped_edges == 0
