"""Which faces of a part are pointed out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcheck.edges import face_normals
from meshcheck.picture import BED_GAP_MM, is_thin
from meshcheck.shown.reasons import CROSSING, OPEN, RESTING, STEEP, THIN, Flags
from meshcheck.types import IntArray, Mesh, Report


def face_flags(mesh: Mesh, report: Report) -> Flags:
    """(m,) uint8 of the bits above for the faces of ``mesh``, whose face numbers are those of the report."""
    flags = np.zeros(len(mesh.faces), np.uint8)
    flags[_resting(mesh)] |= RESTING
    pointed_out: list[tuple[int, IntArray | None]] = [
        (STEEP, report.support.overhang_faces if report.support is not None else None),
        (THIN, report.walls.faces if report.walls is not None and is_thin(report) else None),
        (OPEN, report.topology.open_edge_faces if report.topology is not None else None),
        (CROSSING, report.crossings.faces if report.crossings is not None else None),
    ]
    for bit, faces in pointed_out:
        if faces is not None:
            flags[faces] |= bit
    return flags


def _resting(mesh: Mesh) -> NDArray[np.bool_]:
    """Faces on the bed that look down."""
    normals, _ = face_normals(mesh.corners)
    floor = mesh.vertices[:, 2].min()
    resting: NDArray[np.bool_] = (mesh.corners[:, :, 2].max(axis=1) < floor + BED_GAP_MM) & (normals[:, 2] < 0)
    return resting
