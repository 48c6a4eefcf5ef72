"""The thinnest wall of a part.

A wall is where the skin has another skin close behind it, facing the other way. The solid is looked at in columns
along all three axes; whatever way a wall stands, one of them crosses it steeply enough. The most promising places
are then measured exactly, from point to face. Sharp edges, wedges and the tips of chamfers are thin but no
walls: their two sides are not parallel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcheck.columns import Spans, solid_spans
from meshcheck.edges import face_normals
from meshcheck.types import FloatArray, IntArray, Mesh, Unknown, Walls
from telling import told

# Two sides within this angle make a wall, more make a wedge.
WEDGE_DEG = 15.0
# A round pin is crossed beside its middle, where the sides look more apart; measured exactly they are opposite.
ROUND_DEG = 60.0
# A column must cross a wall at least this steeply: cos of the angle to the wall's normal (54.7 deg for the worst
# direction of a flat wall, cos 0.577, and a little room).
STEEP_LEAST = 0.5
COLUMNS_PER_AXIS = 30_000
FINEST_PITCH_MM = 0.1
# A crossing shorter than this is the grazing of an edge, not a wall.
GRAZE_MM = 0.02
# Places measured exactly; few where the thinnest is far from thin.
PLACES = 24
PLACES_THICK = 3
THICK_LIMITS = 4.0
UNBALANCED_SHARE_MOST = 0.01


def thin_walls(mesh: Mesh, limit_mm: float) -> Walls:
    """The thinnest wall of a closed mesh, and the faces of all walls thinner than ``limit_mm``.

    ``thinnest_mm`` is right to 0.01 mm for flat walls, whatever way they stand, and for tubes. Unknown when the
    skin is so torn that columns cannot tell inside from outside, or when no two sides face each other.
    """
    normals, _ = face_normals(mesh.corners)
    found = [_crossings(mesh, normals, axis) for axis in range(3)] if len(mesh.faces) else []
    if not found or any(crossings is None for crossings in found):
        return Walls(
            Unknown(told("the skin is not sound, so walls cannot be told from gaps")), _no_faces(), None, limit_mm
        )
    walls = _joined([crossings for crossings in found if crossings is not None])
    measured = _measured(mesh, normals, walls, limit_mm)
    if measured is None:
        nothing = Unknown(told("no two sides of the part face each other"))
        return Walls(nothing, _no_faces(), None, limit_mm, none=True)
    thinnest, place, pair = measured
    thin = walls.parallel & (walls.width_mm < limit_mm)
    faces = np.unique(np.vstack([walls.faces[thin], pair])) if thinnest < limit_mm else _no_faces()
    return Walls(thinnest, faces.astype(np.int32), (float(place[0]), float(place[1]), float(place[2])), limit_mm)


@dataclass(frozen=True, slots=True, eq=False)
class _Crossings:
    """Columns that cross from one side of the part to an opposite one: faces (k, 2) entered and left by, points
    (k, 3) of entry, width_mm (k,) across, parallel (k,) whether the two sides make a wall as they are."""

    faces: IntArray
    points: FloatArray
    width_mm: FloatArray
    parallel: NDArray[np.bool_]


def _joined(parts: list[_Crossings]) -> _Crossings:
    return _Crossings(
        np.vstack([part.faces for part in parts]),
        np.vstack([part.points for part in parts]),
        np.concatenate([part.width_mm for part in parts]),
        np.concatenate([part.parallel for part in parts]),
    )


def _no_faces() -> IntArray:
    return np.zeros(0, np.int32)


def _crossings(mesh: Mesh, normals: FloatArray, axis: int) -> _Crossings | None:
    """Crossings of columns along ``axis``; None when the columns do not balance."""
    sizes = np.ptp(mesh.vertices, axis=0)
    pitch = float(np.sqrt(sizes[(axis + 1) % 3] * sizes[(axis + 2) % 3] / COLUMNS_PER_AXIS))
    spans = solid_spans(mesh.vertices, mesh.faces, axis=axis, pitch_mm=max(pitch, FINEST_PITCH_MM))
    if spans.unbalanced > UNBALANCED_SHARE_MOST * spans.columns:
        return None
    entry, exit_ = normals[spans.low_face], normals[spans.high_face]
    opposite = -np.einsum("ij,ij->i", entry, exit_)
    steep = np.minimum(-entry[:, axis], exit_[:, axis]) > STEEP_LEAST
    length = spans.high_mm - spans.low_mm
    wall = (opposite > np.cos(np.radians(ROUND_DEG))) & steep & (length > GRAZE_MM)
    # the distance of two nearly parallel planes along a slanted line: the mean of both projections
    width = length[wall] * (exit_[wall, axis] - entry[wall, axis]) / 2
    faces = np.column_stack([spans.low_face[wall], spans.high_face[wall]])
    return _Crossings(faces, _entry_points(spans, wall), width, opposite[wall] > np.cos(np.radians(WEDGE_DEG)))


def _entry_points(spans: Spans, chosen: NDArray[np.bool_]) -> FloatArray:
    points = np.empty((int(chosen.sum()), 3))
    points[:, spans.axis] = spans.low_mm[chosen]
    points[:, (spans.axis + 1) % 3] = spans.cross_mm[chosen, 0]
    points[:, (spans.axis + 2) % 3] = spans.cross_mm[chosen, 1]
    return points


def _measured(
    mesh: Mesh, normals: FloatArray, walls: _Crossings, limit_mm: float
) -> tuple[float, FloatArray, IntArray] | None:
    """Width, place and faces of the thinnest wall, measured exactly at the most promising crossings: from the
    point of entry to the nearest face behind it that looks the other way. None where there is no wall."""
    corners = mesh.corners
    x, y, z = corners[:, 0], corners[:, 1], corners[:, 2]
    low, high = np.minimum(np.minimum(x, y), z), np.maximum(np.maximum(x, y), z)
    seen = np.zeros(len(corners), np.bool_)  # faces buried in another body bound no wall
    seen[walls.faces] = True
    best: tuple[float, FloatArray, IntArray] | None = None
    for k in (*_promising(walls, walls.parallel, limit_mm), *_promising(walls, ~walls.parallel, limit_mm)):
        point, outward, reach = walls.points[k], normals[walls.faces[k, 0]], 1.5 * float(walls.width_mm[k])
        near = np.flatnonzero((low[:, 0] < point[0] + reach) & (high[:, 0] > point[0] - reach) & seen)
        near = near[(low[near] < point + reach).all(axis=1) & (high[near] > point - reach).all(axis=1)]
        near = near[normals[near] @ outward < -np.cos(np.radians(WEDGE_DEG))]
        if not len(near):
            continue
        through = _distance_behind(point, corners[near], normals[near])
        exact = float(through.min())
        if exact < (best[0] if best else np.inf):
            pair = np.array([[walls.faces[k, 0], near[through.argmin()]]], np.int32)
            best = exact, point - outward * exact / 2, pair
    return best


def _promising(walls: _Crossings, among: NDArray[np.bool_], limit_mm: float) -> NDArray[np.int64]:
    """The narrowest crossings: one for each pair of faces, and some spread over all of them, because the foot of
    a slanted crossing may miss the wall's other side near an edge."""
    chosen = np.flatnonzero(among)
    if not len(chosen):
        return chosen
    width = walls.width_mm[chosen]
    most = min(len(width), 50 * PLACES)
    order = np.argpartition(width, most - 1)[:most]
    order = chosen[order[np.argsort(width[order], kind="stable")]]
    places = PLACES if width.min() < THICK_LIMITS * limit_mm else PLACES_THICK
    _, first = np.unique(walls.faces[order], axis=0, return_index=True)
    spread = np.linspace(0, most - 1, places).astype(np.int64)
    picked: NDArray[np.int64] = order[np.unique(np.concatenate([np.sort(first)[:places], spread]))]
    return picked


def _distance_behind(point: FloatArray, corners: FloatArray, normals: FloatArray) -> FloatArray:
    """(k,) distance of a point from triangles (k, 3, 3) in whose material it lies, infinite from the others: to the
    plane where the foot is inside the triangle, else to its nearest side."""
    height = np.einsum("ij,ij->i", point - corners[:, 0], normals)
    foot = point - height[:, None] * normals
    inside = np.ones(len(corners), np.bool_)
    beside = np.full(len(corners), np.inf)
    for k in range(3):
        a, b = corners[:, k], corners[:, (k + 1) % 3]
        side = b - a
        inside &= np.einsum("ij,ij->i", np.cross(side, foot - a), normals) >= 0
        share = np.einsum("ij,ij->i", point - a, side) / np.maximum(np.einsum("ij,ij->i", side, side), 1e-300)
        nearest = a + np.clip(share, 0, 1)[:, None] * side
        beside = np.minimum(beside, np.linalg.norm(point - nearest, axis=1))
    return np.where(height > 0, np.inf, np.where(inside, -height, beside))
