"""From a patch of faces to a cylinder: axis, circle, what passes, and how far it reaches."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import ConvexHull

from meshcheck.edges import EdgeTable
from meshcheck.holes.circle import fit_circle, fit_ellipse, inscribed_circle, plane_basis, uneven_free_radius
from meshcheck.holes.regions import Patch
from meshcheck.types import FloatArray, IntArray, Mesh

BINS = 720
TILT_MOST = 0.05  # root mean square sine of the normals against the plane across the axis
ONE_WAY_LEAST = 0.99  # share of the area that faces the axis, or away from it
CLEAN_SHARE = 5e-4  # misfit of a wall whose corners are exact but for rounding
STRETCHED_SHARE = 0.004  # an ellipse is fitted when radii differ by more than this share


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """A piece of a cylinder. axis: unit vector; middle_mm: the point of the axis halfway along the piece;
    free_middle_mm: the middle of the bar that passes, at the same height;
    low_mm, high_mm: its reach along the axis, measured from the origin; coverage: share of the full turn;
    misfit_mm: root mean square distance of the corners from the circle (or ellipse); roundness_mm: largest
    less smallest radius; diameters_mm: across the smallest and the largest width;
    longest_side_rad: the widest angle between neighbouring corners."""

    axis: FloatArray
    middle_mm: FloatArray
    radius_mm: float
    free_radius_mm: float
    free_middle_mm: FloatArray
    low_mm: float
    high_mm: float
    hollow: bool
    coverage: float
    misfit_mm: float
    roundness_mm: float
    diameters_mm: tuple[float, float]
    facets: int
    longest_side_rad: float
    body: int
    faces: IntArray
    pieces: tuple[Cylinder, ...] = ()  # what it was put together from, with gaps between them

    @property
    def depth_mm(self) -> float:
        return self.high_mm - self.low_mm


def fit_cylinder(mesh: Mesh, edges: EdgeTable, patch: Patch) -> Cylinder | None:
    """The cylinder through a patch, or None when its normals do not lie in a plane or face both ways.

    Circle: least squares on the corner vertices, which lie on the true circle while facets cut it short.
    """
    area = edges.area_mm2[patch.faces]
    normals = edges.normals[patch.faces]
    spread, directions = np.linalg.eigh((normals * area[:, None]).T @ normals)
    if spread[0] > TILT_MOST**2 * area.sum() or spread[1] < 1e-3 * spread[2]:
        return None
    axis = directions[:, 0] * np.sign(directions[:, 0] @ patch.axis)
    u, v = plane_basis(axis)
    flat = np.column_stack([u, v])
    corner_vertices = np.unique(edges.ends[patch.corner_edges])
    ring = mesh.vertices[corner_vertices] @ flat
    centre, radius = fit_circle(ring)
    used, local = np.unique(mesh.faces[patch.faces], return_inverse=True)
    wall, along = mesh.vertices[used] @ flat, mesh.vertices[used] @ axis
    corners = (wall - centre)[local.reshape(-1, 3)]
    outward = np.einsum("ij,ij->i", corners.sum(axis=1), normals @ flat)
    facing_in = float(area[outward < 0].sum() / area.sum())
    if 1 - ONE_WAY_LEAST < facing_in < ONE_WAY_LEAST:
        return None
    low, high = float(along.min()), float(along.max())
    radii = np.hypot(*(ring - centre).T)
    roundness = float(np.ptp(radii))
    diameters, misfit = (2 * radius, 2 * radius), float(np.sqrt(((radii - radius) ** 2).mean()))
    if roundness > STRETCHED_SHARE * radius and len(ring) >= 6:
        ellipse = fit_ellipse(ring)
        if ellipse is not None and ellipse[2] < misfit:
            diameters, misfit = ellipse[:2], ellipse[2]
    step = float(np.median(np.abs(edges.turn_rad[patch.corner_edges])))
    # slivers may hide a corner edge, so the polygon comes from all vertices of the wall
    outermost = abs(float(np.hypot(*(wall - centre).T).max()) - radius)
    if misfit < CLEAN_SHARE * radius < outermost and diameters[0] == diameters[1]:
        misfit = outermost  # the corners seen were too few to tell
    if misfit < CLEAN_SHARE * radius:
        free_at, free = inscribed_circle(wall[ConvexHull(wall).vertices], centre)
    else:
        free_at, free = centre, uneven_free_radius(wall, ring, centre, step)
    middle = flat @ centre + axis * (low + high) / 2
    return Cylinder(
        axis=axis, middle_mm=middle, radius_mm=radius, free_radius_mm=free,
        free_middle_mm=middle + flat @ (free_at - centre),
        low_mm=low, high_mm=high, hollow=facing_in > 0.5, coverage=_coverage(corners),
        misfit_mm=misfit, roundness_mm=roundness, diameters_mm=diameters, facets=round(2 * np.pi / step),
        longest_side_rad=longest_side(ring - centre),
        body=int(mesh.body[patch.faces[0]]), faces=patch.faces,
    )  # fmt: skip


def longest_side(corners: FloatArray) -> float:
    """Widest angle in radians between neighbours among ``corners`` (k, 2), seen from the origin."""
    angle = np.sort(np.arctan2(corners[:, 1], corners[:, 0]))
    return float(np.diff(angle, append=angle[0] + 2 * np.pi).max())


def _coverage(corners: FloatArray) -> float:
    """Share of the full turn that faces with ``corners`` (m, 3, 2) about the centre subtend."""
    angle = np.arctan2(corners[:, :, 1], corners[:, :, 0])
    relative = (angle - angle[:, :1] + np.pi) % (2 * np.pi) - np.pi
    scale = BINS / (2 * np.pi)
    first = np.floor((angle[:, 0] + relative.min(axis=1)) * scale + 1e-6).astype(np.int64)
    last = np.ceil((angle[:, 0] + relative.max(axis=1)) * scale - 1e-6).astype(np.int64)
    change = np.zeros(3 * BINS + 1, np.int64)
    np.add.at(change, first + BINS, 1)
    np.add.at(change, np.maximum(last, first) + BINS, -1)
    covered = np.cumsum(change)[: 3 * BINS].reshape(3, BINS).sum(axis=0)
    return float((covered > 0).mean())


def joined(pieces: list[Cylinder]) -> list[Cylinder]:
    """Pieces of the same cylinder of one body put together, where less than half their length is missing between
    them (a groove or a cross hole); the same piece found along two candidate axes counts once."""
    whole = _joined_once(pieces)
    while len(again := _joined_once(whole)) < len(whole):  # two that had grown from both ends may meet only then
        whole = again
    return whole


def _joined_once(pieces: list[Cylinder]) -> list[Cylinder]:
    whole: list[Cylinder] = []
    for piece in sorted(pieces, key=lambda c: -c.coverage * c.depth_mm):
        for k, other in enumerate(whole):
            if _same_cylinder(other, piece):
                whole[k] = _together(other, piece)
                break
        else:
            whole.append(piece)
    return whole


def apart(hole: Cylinder) -> list[Cylinder]:
    """The two halves of a cylinder that was put together, parted at its widest gap; none where there is no gap."""
    if not hole.pieces:
        return []
    at = float(hole.middle_mm @ hole.axis)
    reach = sorted(
        ((centre := at + float((piece.middle_mm - hole.middle_mm) @ hole.axis)) - piece.depth_mm / 2, centre, k)
        for k, piece in enumerate(hole.pieces)
    )
    tops = np.maximum.accumulate([low + hole.pieces[k].depth_mm for low, _, k in reach])
    gaps = np.array([low for low, _, _ in reach[1:]]) - tops[:-1]
    widest = int(gaps.argmax())
    if gaps[widest] <= 0:
        return []
    below = [hole.pieces[k] for _, _, k in reach[: widest + 1]]
    above = [hole.pieces[k] for _, _, k in reach[widest + 1 :]]
    return joined(below) + joined(above)


def _same_cylinder(a: Cylinder, b: Cylinder) -> bool:
    if a.hollow != b.hollow or a.body != b.body or abs(a.radius_mm - b.radius_mm) > 0.01 * a.radius_mm:
        return False
    offset = b.middle_mm - a.middle_mm
    along = float(offset @ a.axis)
    if np.linalg.norm(offset - along * a.axis) > 0.02 * a.radius_mm or abs(a.axis @ b.axis) < 0.9995:
        return False
    gap = abs(along) - (a.depth_mm + b.depth_mm) / 2
    return gap < 0.5 * max(a.depth_mm, a.radius_mm)


def _together(a: Cylinder, b: Cylinder) -> Cylinder:
    """``a`` stretched over the reach of ``b``."""
    along = float((b.middle_mm - a.middle_mm) @ a.axis)
    half = float(a.middle_mm @ a.axis)
    low = min(a.low_mm, half + along - b.depth_mm / 2)
    high = max(a.high_mm, half + along + b.depth_mm / 2)
    tighter = min(a, b, key=lambda c: c.free_radius_mm)
    return replace(
        a,
        low_mm=low,
        high_mm=high,
        middle_mm=a.middle_mm + a.axis * ((low + high) / 2 - half),
        free_radius_mm=min(a.free_radius_mm, b.free_radius_mm),
        free_middle_mm=tighter.free_middle_mm + a.axis * ((low + high) / 2 - float(tighter.free_middle_mm @ a.axis)),
        roundness_mm=max(a.roundness_mm, b.roundness_mm),
        misfit_mm=max(a.misfit_mm, b.misfit_mm),
        coverage=max(a.coverage, b.coverage),
        faces=np.union1d(a.faces, b.faces).astype(np.int32),
        pieces=(a.pieces or (a,)) + (b.pieces or (b,)),
    )
