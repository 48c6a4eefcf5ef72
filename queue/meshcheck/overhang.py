"""Undersides too steep to print on air, and the support they would stand on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcheck.bridges import BRIDGE_MM, find_bridges
from meshcheck.columns import GRID_TURN_RAD, Spans, solid_spans
from meshcheck.edges import coordinate_step_mm, face_normals, normal_noise
from meshcheck.support_columns import SupportColumns
from meshcheck.types import FloatArray, IntArray, Mesh, PrintSettings, Support, Unknown
from telling import told

LIMIT_DEG = 45.0
# A facet lies on the bed when no corner is higher: half the last digit of a file written with two decimals.
BED_MM = 0.005
ANGLE_TOLERANCE_RAD = 1e-6
# A sliver's direction is mostly rounding; more leniency than this would hide real slopes.
NOISE_MOST_RAD = float(np.radians(0.5))
UNBALANCED_SHARE_MOST = 0.001


def bed_slack_mm(settings: PrintSettings, posed: bool) -> float:
    """How far above its lowest point a part still lies on the bed: as drawn by the digits of its file; laid on another
    face, half a first layer, for the face was levelled by its own facets."""
    return settings.first_layer_mm / 2 if posed else BED_MM


def overhang(
    mesh: Mesh,
    limit_deg: float = LIMIT_DEG,
    *,
    watertight: bool,
    bridge_mm: float = BRIDGE_MM,
    bed_mm: float = BED_MM,
    pitch_mm: float | None = None,
) -> Support:
    """Undersides that lean out by more than ``limit_deg`` from the vertical, and the support volume below them.

    The mesh is taken as it stands, its lowest point on the bed; faces up to ``bed_mm`` above that lie on the bed too.
    Area is exact (facets); exactly ``limit_deg`` passes, also after rounding to float32. Flat undersides held at both
    ends over at most ``bridge_mm`` are bridges and need nothing. The volume is counted in columns 0.1 to 0.25 mm
    apart (or ``pitch_mm``), from the underside down to the part or the bed below: within 0.5 % for parts of 10 mm and
    more. Unknown when the mesh is not closed, because columns would run out of its gaps.
    """
    normals, area = face_normals(mesh.corners)
    how = Counting(limit_deg, bridge_mm, bed_mm, pitch_mm)
    return support_below(mesh, normals, area, how, watertight=watertight)


@dataclass(frozen=True, slots=True)
class Counting:
    """How undersides and columns are counted; see ``overhang``."""

    limit_deg: float
    bridge_mm: float = BRIDGE_MM
    bed_mm: float = BED_MM
    pitch_mm: float | None = None


def support_below(
    mesh: Mesh, normals: FloatArray, area: FloatArray, how: Counting, *, watertight: bool = True
) -> Support:
    """``overhang`` where the faces' unit normals (m, 3) and areas (m,) are known already."""
    steep = _steep_faces(mesh, normals, area, how.limit_deg, how.bed_mm)
    bridges, bridging = find_bridges(mesh.vertices, mesh.faces, normals, area, steep, how.bridge_mm)
    faces = steep[~bridging]
    found = Support(float(area[faces].sum()), faces, 0.0, 0.0, how.limit_deg, bridges=bridges)
    if not watertight:
        return _unmeasured(found, told("the skin is not closed, so nobody can say where support would end"))
    if not len(faces):
        return found
    spans = solid_spans(mesh.vertices, mesh.faces, pitch_mm=how.pitch_mm)
    if spans.unbalanced > UNBALANCED_SHARE_MOST * spans.columns:
        because = told("parts of the skin face the wrong way, so nobody can say where support would end")
        return _unmeasured(found, because)
    return _stand(found, mesh, spans)


def _unmeasured(found: Support, because: str) -> Support:
    return replace(found, volume_mm3=Unknown(because), on_part_mm3=Unknown(because))


def _steep_faces(mesh: Mesh, normals: FloatArray, area: FloatArray, limit_deg: float, bed_mm: float) -> IntArray:
    """The faces that lean out too far and do not lie on the bed."""
    limit = np.radians(limit_deg) + ANGLE_TOLERANCE_RAD
    leaning = (
        np.flatnonzero((normals[:, 2] < -np.sin(limit)) & (area > 0)) if limit < np.pi / 2 else np.zeros(0, np.int64)
    )
    faces, lean = leaning, np.arcsin(np.clip(-normals[leaning, 2], -1.0, 1.0))
    corners = mesh.vertices[mesh.faces[faces]]
    above_bed = corners[:, :, 2].max(axis=1) > mesh.vertices[:, 2].min(initial=np.inf) + bed_mm
    noise = normal_noise(corners, area[faces], coordinate_step_mm(mesh.vertices))
    certain = lean > limit + np.minimum(noise, NOISE_MOST_RAD)
    steep: IntArray = faces[above_bed & certain].astype(np.int32)
    return steep


def _stand(found: Support, mesh: Mesh, spans: Spans) -> Support:
    """The columns of support below the steep faces, down to the part or the bed."""
    steep = np.zeros(len(mesh.faces), np.bool_)
    steep[found.overhang_faces] = True
    bed = float(mesh.vertices[:, 2].min())
    on_part = np.zeros(len(spans.column), np.bool_)
    on_part[1:] = spans.column[1:] == spans.column[:-1]
    below = np.where(on_part, np.roll(spans.high_mm, 1), bed)
    wanted = steep[spans.low_face] & (spans.low_mm > below)
    bottom, top = below[wanted] - bed, spans.low_mm[wanted] - bed
    height = top - bottom
    cell = spans.pitch_mm**2
    return replace(
        found,
        volume_mm3=float(height.sum() * cell),
        on_part_mm3=float(height[on_part[wanted]].sum() * cell),
        columns=_columns(spans, wanted, bottom, top),
    )


def _columns(spans: Spans, wanted: NDArray[np.bool_], bottom_mm: FloatArray, top_mm: FloatArray) -> SupportColumns:
    """In the frame of the grid, which is turned by GRID_TURN_RAD."""
    x, y = spans.cross_mm[wanted].T
    c, s = np.cos(GRID_TURN_RAD), np.sin(GRID_TURN_RAD)
    across = s * x + c * y
    first = float(across.min(initial=np.inf)) if len(across) else 0.0
    row = np.rint((across - first) / spans.pitch_mm).astype(np.int32)
    return SupportColumns(-GRID_TURN_RAD, spans.pitch_mm, first, row, c * x - s * y, bottom_mm, top_mm)
