"""Axes along which cylinders may lie, and the connected patches of faces that run along such an axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.edges import EdgeTable
from meshcheck.types import FloatArray, IntArray, Mesh

# A cylinder of n facets turns 360/n degrees at each corner: from 0.2 (n = 1800) to 60 (n = 6).
TURN_LEAST = float(np.radians(0.2))
TURN_MOST = float(np.radians(62))
# A sliver's direction is mostly rounding; this much of it is forgiven.
NOISE_MOST_RAD = 1.0
AXES_MOST = 8
AXIS_LEAST_SHARE = 0.003
ALONG_LEAST = 0.99
CORNERS_LEAST = 5


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far faces may be off and still belong to one cylinder: ``across`` is the sine of a normal's tilt
    against the plane across the axis, ``flat_rad`` a turn that counts as flat."""

    across: float
    flat_rad: float


STRICT = Tolerance(across=0.01, flat_rad=float(np.radians(0.5)))
LOOSE = Tolerance(across=0.06, flat_rad=float(np.radians(6)))


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """Connected faces along one axis. corner_edges: the edges along the axis at which the patch turns."""

    faces: IntArray
    corner_edges: IntArray
    axis: FloatArray


def candidate_axes(mesh: Mesh, edges: EdgeTable) -> list[FloatArray]:
    """Directions of the hollow, gently turning edges, most frequent first: a hole's corners run along its axis.

    Each edge votes with its turn and its length, up to a quarter of the part's size, so that one long edge of
    something else does not outvote a ring of short ones.
    """
    turn = edges.turn_rad
    hollow = np.flatnonzero((turn < -TURN_LEAST) & (turn > -TURN_MOST))
    if not len(hollow):
        return []
    along = edges.direction[hollow]
    main = np.abs(along).argmax(axis=1)
    along = along * np.sign(along[np.arange(len(along)), main])[:, None]
    size = float(np.ptp(mesh.vertices, axis=0).max())
    weight = -turn[hollow] * np.minimum(edges.length_mm[hollow] / size, 0.25)
    cells = np.round(along * 40).astype(np.int64) @ np.array([1, 1009, 1_000_003])
    _, cell = np.unique(cells, return_inverse=True)
    axes: list[FloatArray] = []
    alive, best = np.ones(len(hollow), np.bool_), 0.0
    while alive.any() and len(axes) < AXES_MOST:
        score = np.bincount(cell, weights=weight * alive)
        top = int(score.argmax())
        best = max(best, float(score[top]))
        if score[top] < AXIS_LEAST_SHARE * best or score[top] <= 0:
            break
        axis = _refined(along, weight, alive, alive & (cell == top))
        axes.append(axis)
        alive &= (np.abs(along @ axis) < np.cos(np.radians(1.5))) & (cell != top)
    return axes


def _refined(along: FloatArray, weight: FloatArray, alive: NDArray[np.bool_], first: NDArray[np.bool_]) -> FloatArray:
    """The mean direction of the chosen edges, then of all edges ever closer to it."""
    axis = _mean_direction(along[first], weight[first], along[first][0])
    for within_deg in (3.0, 1.0, 0.4):
        near = alive & (np.abs(along @ axis) > np.cos(np.radians(within_deg)))
        if not near.any():
            break
        axis = _mean_direction(along[near], weight[near], axis)
    return axis


def _mean_direction(along: FloatArray, weight: FloatArray, like: FloatArray) -> FloatArray:
    """Weighted mean of directions whose sign does not matter, pointing the way of ``like``."""
    total: FloatArray = (along * (np.sign(along @ like) * weight)[:, None]).sum(axis=0)
    return total / np.linalg.norm(total)


@njit(cache=True, nogil=True)
def _root(parent, i):  # type: ignore[no-untyped-def]
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def _grow(upright, edge_faces, turn, sign, flat, turn_most):  # type: ignore[no-untyped-def]
    """Label (m,) of the patch of every upright face, -1 elsewhere; joined where the skin turns the way of ``sign``."""
    parent = np.arange(upright.size).astype(np.int32)
    for e in range(turn.size):
        i, j = edge_faces[e, 0], edge_faces[e, 1]
        if j >= 0 and upright[i] and upright[j] and -flat[e] < sign * turn[e] < turn_most:
            a, b = _root(parent, i), _root(parent, j)
            if a != b:
                parent[max(a, b)] = min(a, b)
    for i in range(upright.size):
        parent[i] = _root(parent, i) if upright[i] else -1
    return parent


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """What the search along every axis needs of the edges, worked out once for one tolerance."""

    edges: EdgeTable
    tolerance: Tolerance
    tilt_most: FloatArray  # (m,) sine of the tilt forgiven to each face
    flat_rad: FloatArray  # (e,) turn the other way forgiven to each edge
    corners: dict[bool, IntArray]  # edges that clearly turn inward (True) or outward (False)


def skin_of(edges: EdgeTable, tolerance: Tolerance) -> Skin:
    """Prepare the search for patches."""
    size = np.abs(edges.turn_rad)
    clear = (size > np.maximum(TURN_LEAST, 2 * edges.turn_noise_rad)) & (size < TURN_MOST)
    return Skin(
        edges,
        tolerance,
        tolerance.across + np.minimum(edges.normal_noise_rad, NOISE_MOST_RAD),
        tolerance.flat_rad + np.minimum(edges.turn_noise_rad, NOISE_MOST_RAD),
        {
            True: np.flatnonzero(clear & (edges.turn_rad < 0)).astype(np.int32),
            False: np.flatnonzero(clear & (edges.turn_rad > 0)).astype(np.int32),
        },
    )


def patches(skin: Skin, axis: FloatArray, hollow: bool, openness_most: float) -> list[Patch]:
    """Patches along ``axis`` that turn only inward (``hollow``) or only outward, the largest first.

    ``openness_most``: a ring's normals cancel; length of their area-weighted sum over the area, at most this
    (an arc of angle a has sin(a / 2) / (a / 2)).
    """
    edges = skin.edges
    upright = (np.abs(edges.normals @ axis) < skin.tilt_most) & (edges.area_mm2 > 0)
    label = _grow(upright, edges.faces, edges.turn_rad, -1.0 if hollow else 1.0, skin.flat_rad, TURN_MOST)
    corner_edges = _corner_edges(skin, label, hollow, axis)
    names, corner_group, counts = np.unique(
        label[edges.faces[corner_edges, 0]], return_inverse=True, return_counts=True
    )
    wanted = np.flatnonzero(counts >= CORNERS_LEAST)
    if not len(wanted):
        return []
    number = np.full(len(label) + 1, -1, np.int32)
    number[names[wanted]] = np.arange(len(wanted))
    members = np.flatnonzero((label >= 0) & (number[label] >= 0)).astype(np.int32)
    group = number[label[members]]
    area = np.bincount(group, edges.area_mm2[members])
    weighted = edges.normals[members] * edges.area_mm2[members][:, None]
    total = np.column_stack([np.bincount(group, weighted[:, k]) for k in range(3)])
    ring = np.flatnonzero(np.linalg.norm(total, axis=1) < openness_most * area)
    ring = ring[np.argsort(-area[ring], kind="stable")]
    by_face, by_edge = np.argsort(group, kind="stable"), np.argsort(corner_group, kind="stable")
    face_start = np.searchsorted(group[by_face], np.arange(len(wanted) + 1))
    edge_start = np.searchsorted(corner_group[by_edge], np.arange(len(names) + 1))
    return [
        Patch(
            members[by_face[face_start[g] : face_start[g + 1]]],
            corner_edges[by_edge[edge_start[wanted[g]] : edge_start[wanted[g] + 1]]],
            axis,
        )
        for g in ring
    ]


def _corner_edges(skin: Skin, label: IntArray, hollow: bool, axis: FloatArray) -> IntArray:
    """Edges inside one patch, along the axis, where it turns the wanted way."""
    edges = skin.edges
    along = skin.corners[hollow]
    along = along[np.abs(edges.direction[along] @ axis) > ALONG_LEAST]
    first, second = label[edges.faces[along, 0]], label[edges.faces[along, 1]]
    inside: IntArray = along[(first >= 0) & (first == second)]
    return inside
