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
NOISE_MOST_RAD = 0.5
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
def _grow(upright, edge_faces, turn, flat, turn_most):  # type: ignore[no-untyped-def]
    """Label (m,) of the patch of every upright face, -1 elsewhere; joined where the skin turns the wanted way."""
    parent = np.arange(upright.size).astype(np.int32)
    for e in range(turn.size):
        i, j = edge_faces[e, 0], edge_faces[e, 1]
        if j >= 0 and upright[i] and upright[j] and -flat[e] < turn[e] < turn_most:
            a, b = _root(parent, i), _root(parent, j)
            if a != b:
                parent[max(a, b)] = min(a, b)
    for i in range(upright.size):
        parent[i] = _root(parent, i) if upright[i] else -1
    return parent


def patches(
    edges: EdgeTable, axis: FloatArray, hollow: bool, tolerance: Tolerance, openness_most: float
) -> list[Patch]:
    """Patches along ``axis`` that turn only inward (``hollow``) or only outward, the largest first.

    ``openness_most``: a ring's normals cancel; length of their area-weighted sum over the area, at most this
    (an arc of angle a has sin(a / 2) / (a / 2)).
    """
    face_noise = np.minimum(edges.normal_noise_rad, NOISE_MOST_RAD)
    upright = (np.abs(edges.normals @ axis) < tolerance.across + face_noise) & (edges.area_mm2 > 0)
    turn = -edges.turn_rad if hollow else edges.turn_rad
    flat = tolerance.flat_rad + np.minimum(edges.turn_noise_rad, NOISE_MOST_RAD)
    label = _grow(upright, edges.faces, turn, flat, TURN_MOST)
    members = np.flatnonzero(label >= 0).astype(np.int32)
    if not len(members):
        return []
    names, group = np.unique(label[members], return_inverse=True)
    area = np.bincount(group, edges.area_mm2[members])
    weighted = edges.normals[members] * edges.area_mm2[members][:, None]
    total = np.column_stack([np.bincount(group, weighted[:, k]) for k in range(3)])
    corner_edges, corner_group = _corner_edges(edges, label, names, turn, axis)
    enough = np.bincount(corner_group, minlength=len(names)) >= CORNERS_LEAST
    wanted = np.flatnonzero(enough & (np.linalg.norm(total, axis=1) < openness_most * area))
    wanted = wanted[np.argsort(-area[wanted], kind="stable")]
    by_face, by_edge = np.argsort(group, kind="stable"), np.argsort(corner_group, kind="stable")
    face_start = np.searchsorted(group[by_face], np.arange(len(names) + 1))
    edge_start = np.searchsorted(corner_group[by_edge], np.arange(len(names) + 1))
    return [
        Patch(
            members[by_face[face_start[g] : face_start[g + 1]]],
            corner_edges[by_edge[edge_start[g] : edge_start[g + 1]]],
            axis,
        )
        for g in wanted
    ]


def _corner_edges(
    edges: EdgeTable, label: IntArray, names: IntArray, turn: FloatArray, axis: FloatArray
) -> tuple[IntArray, NDArray[np.int64]]:
    """Edges inside one patch, along the axis, where it turns the wanted way; and the number of that patch."""
    first, second = edges.faces[:, 0], edges.faces[:, 1]
    own = label[first]
    inside = (second >= 0) & (own >= 0) & (own == label[second]) & (turn < TURN_MOST)
    inside &= turn > np.maximum(TURN_LEAST, 2 * edges.turn_noise_rad)
    inside = np.flatnonzero(inside).astype(np.int32)
    inside = inside[np.abs(edges.direction[inside] @ axis) > ALONG_LEAST]
    return inside, np.searchsorted(names, own[inside])
