"""Pins of three to five sides, which are too few to be found as round ones.

Seen across its length such a pin is a closed ring of flat sides, each meeting the next at a convex edge along the pin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.edges import EdgeTable
from meshcheck.topology import root_of
from meshcheck.types import FloatArray, IntArray, Mesh

SIDES_MOST = 5
# Regular rings turn by 120, 90 and 72 degrees at a corner; drawn ones may be skewed.
TURN_LEAST_RAD, TURN_MOST_RAD = float(np.radians(50)), float(np.radians(150))
FLAT_RAD = 1e-3
PARALLEL_COS = float(np.cos(np.radians(1)))
# Rings of far more corners than this are a relief or a grid; the narrowest would be no news.
CORNERS_MOST = 20_000
BESIDE_SHARE = 0.1  # of the way from the middle to a side: so far beyond it lies what the post leans on
WIDEST = 1.5  # a ring this many times as wide as it is narrow is a wall, no pin


@dataclass(frozen=True, slots=True, eq=False)
class Post:
    """width_mm: the narrowest way across; length_mm: how far all its corners run side by side; axis: unit vector."""

    width_mm: float
    length_mm: float
    middle_mm: FloatArray
    axis: FloatArray
    beside_mm: FloatArray  # (n, 3) a point just off the middle of every side


@dataclass(frozen=True, slots=True, eq=False)
class _Corners:
    """Straight convex corners between two flat sides. sides (k, 2) numbers of flats; direction (k, 3) unit;
    low, high (k,): extent along the direction; foot (k, 3): the point of its line nearest to the origin; turn (k,)."""

    sides: IntArray
    direction: FloatArray
    low: FloatArray
    high: FloatArray
    foot: FloatArray
    turn: FloatArray


def find_posts(mesh: Mesh, edges: EdgeTable, width_most_mm: float) -> list[Post]:
    """Rings of three to five sides that are nowhere wider than ``width_most_mm`` times WIDEST, each once."""
    sharp = np.flatnonzero((edges.turn_rad > TURN_LEAST_RAD) & (edges.turn_rad < TURN_MOST_RAD))
    if not 3 <= len(sharp) <= CORNERS_MOST:
        return []
    corners = _corners(mesh, edges, sharp)
    by_side = np.argsort(corners.sides.reshape(-1), kind="stable")
    names, first = np.unique(corners.sides.reshape(-1)[by_side], return_index=True)
    at_side = dict(zip(names.tolist(), np.split(by_side // 2, first[1:]), strict=True))
    found: dict[frozenset[int], Post] = {}
    for k in range(len(corners.sides)):
        ring = _ring(corners, at_side, k, WIDEST * width_most_mm)
        if ring is not None and frozenset(ring) not in found:
            post = _post(corners, ring, width_most_mm)
            if post is not None:
                found[frozenset(ring)] = post
    return list(found.values())


@njit(cache=True, nogil=True)
def _flats(at_edge, turn, faces, flat):  # type: ignore[no-untyped-def]
    """One label for all faces (faces,) that hang together by flat edges."""
    parent = np.arange(faces).astype(np.int32)
    for edge in range(turn.size):
        if abs(turn[edge]) <= flat:
            a, b = root_of(parent, at_edge[edge, 0]), root_of(parent, at_edge[edge, 1])
            parent[max(a, b)] = min(a, b)
    for face in range(faces):
        parent[face] = root_of(parent, face)
    return parent


def _corners(mesh: Mesh, edges: EdgeTable, sharp: NDArray[np.int64]) -> _Corners:
    """Sharp edges joined to straight corners: those between the same two flats in one line."""
    label = _flats(edges.faces, edges.turn_rad, len(mesh.faces), FLAT_RAD)
    sides = np.sort(label[edges.faces[sharp]], axis=1)
    names, group = np.unique(sides, axis=0, return_inverse=True)
    group = group.reshape(-1)
    first = np.unique(group, return_index=True)[1]
    direction = edges.direction[sharp][first]
    ends = mesh.vertices[edges.ends[sharp]]
    along = np.einsum("kej,kj->ke", ends, direction[group])
    low = np.full(len(names), np.inf)
    high = np.full(len(names), -np.inf)
    np.minimum.at(low, group, along.min(axis=1))
    np.maximum.at(high, group, along.max(axis=1))
    start = ends[first, 0]
    foot = start - direction * np.einsum("ij,ij->i", start, direction)[:, None]
    return _Corners(names.astype(np.int32), direction, low, high, foot, edges.turn_rad[sharp][first])


def _ring(corners: _Corners, at_side: dict[int, NDArray[np.int64]], start: int, reach_mm: float) -> list[int] | None:
    """Corners that follow each other around the post of corner ``start``; None where they do not close."""
    ring, side = [start], int(corners.sides[start, 1])
    axis = corners.direction[start]
    while len(ring) <= SIDES_MOST:
        near = at_side[side]
        near = near[np.abs(corners.direction[near] @ axis) > PARALLEL_COS]
        gap = corners.foot[near] - corners.foot[start]
        following = near[(np.einsum("ij,ij->i", gap, gap) <= reach_mm**2) & (near != ring[-1])]
        if len(following) != 1:
            return None
        if following[0] == start:
            return ring if len(ring) >= 3 and abs(float(corners.turn[ring].sum()) - 2 * np.pi) < 0.02 else None
        ring.append(int(following[0]))
        a, b = corners.sides[ring[-1]].tolist()
        side = b if a == side else a
    return None


def _post(corners: _Corners, ring: list[int], width_most_mm: float) -> Post | None:
    axis = corners.direction[ring[0]]
    sign = np.sign(corners.direction[ring] @ axis)
    low = float(np.where(sign > 0, corners.low[ring], -corners.high[ring]).max())
    high = float(np.where(sign > 0, corners.high[ring], -corners.low[ring]).min())
    feet = corners.foot[ring]
    width, widest = _across(feet, axis)
    if high <= low or width >= width_most_mm or widest > WIDEST * width_most_mm:
        return None
    middle = feet.mean(axis=0) + axis * (low + high) / 2
    sides = (feet + np.roll(feet, -1, axis=0)) / 2 + axis * (low + high) / 2
    return Post(width, high - low, middle, axis, middle + (1 + BESIDE_SHARE) * (sides - middle))


def _across(feet: FloatArray, axis: FloatArray) -> tuple[float, float]:
    """The narrowest and the widest way across a convex ring of points (k, 3) seen along the axis: between a side and
    the corner farthest from it, and between two corners."""
    narrow = np.inf
    for k in range(len(feet)):
        side = np.roll(feet, -1, axis=0)[k] - feet[k]
        across = np.cross(axis, side)
        size = float(np.linalg.norm(across))
        if size > 0:
            narrow = min(narrow, float(np.abs((feet - feet[k]) @ across).max()) / size)
    wide = float(np.linalg.norm(feet[:, None] - feet[None], axis=2).max())
    return narrow, wide
