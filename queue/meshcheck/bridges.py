"""Flat undersides that the printer can draw on air, from one side to the other.

A bridge is a connected underside that looks straight down and that straight lines cross in one direction, each from
a wall below to a wall below. Its span is the longest of these lines. Whatever is held at one end only, or not all
along, is an overhang.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from meshcheck.types import Bridge, FloatArray, IntArray

# 10 mm is safe on every machine; 25 to 60 mm are claimed for single ones (FACTS 3: print-bureau guides).
BRIDGE_MM = 10.0
# How far a face may lean and still be drawn as one flat layer: half a layer over the longest safe span.
LEVEL_DEG = 1.0
LINE_SPACING_MM = 0.2  # crossing lines are tried this far apart, about half a line of plastic
LINES_MOST = 400
# Lines that only graze a corner of the underside may end anywhere.
HELD_SHARE_LEAST = 0.99
PATCHES_MOST = 64
PATCH_AREA_LEAST_MM2 = 0.5
DIRECTIONS_MOST = 12


@dataclass(frozen=True, slots=True, eq=False)
class _Border:
    """The outline of one underside: ends (k, 2, 2) of its edges seen from above; held (k,) where a wall goes down."""

    ends: FloatArray
    held: NDArray[np.bool_]


def find_bridges(
    vertices: FloatArray, faces: IntArray, normals: FloatArray, area: FloatArray, steep: IntArray, span_most_mm: float
) -> tuple[tuple[Bridge, ...], NDArray[np.bool_]]:
    """The bridges among the steep faces of a mesh, and which of ``steep`` (k,) they take up.

    vertices (n, 3) mm, faces (m, 3), normals (m, 3) unit, area (m,) mm2. Only the largest ``PATCHES_MOST`` level
    undersides are looked at; the rest stay overhangs.
    """
    taken = np.zeros(len(steep), np.bool_)
    level = steep[normals[steep, 2] < -np.cos(np.radians(LEVEL_DEG))]
    if not len(level) or span_most_mm <= 0:
        return (), taken
    found: list[Bridge] = []
    for patch, border in _undersides(vertices, faces, area, steep, level):
        span = _span(border, span_most_mm)
        if span is not None:
            share = area[patch]
            middle = (vertices[faces[patch]].mean(axis=1) * share[:, None]).sum(axis=0) / share.sum()
            found.append(Bridge(span, float(share.sum()), (float(middle[0]), float(middle[1]), float(middle[2]))))
            taken |= np.isin(steep, patch)
    return tuple(sorted(found, key=lambda bridge: -bridge.span_mm)), taken


def _undersides(
    vertices: FloatArray, faces: IntArray, area: FloatArray, steep: IntArray, level: IntArray
) -> list[tuple[IntArray, _Border]]:
    """Connected level undersides, the largest first, each with its outline."""
    owner, ends, partner = _sides(vertices, faces, level)
    position = np.full(len(faces) + 1, -1, np.int64)  # the last entry answers for "no partner"
    position[level] = np.arange(len(level))
    inner = position[partner] >= 0
    links = coo_array((np.ones(int(inner.sum())), (position[owner[inner]], position[partner[inner]])),
                      shape=(len(level), len(level)))  # fmt: skip
    count, label = connected_components(links, directed=False)
    size = np.bincount(label, area[level], count)
    largest = [g for g in np.argsort(-size, kind="stable")[:PATCHES_MOST] if size[g] >= PATCH_AREA_LEAST_MM2]
    lowest = vertices[ends, 2].min(axis=1)
    drop = np.where(partner >= 0, lowest - vertices[faces[partner], 2].min(axis=1), 0.0)
    leans_out = np.append(np.zeros(len(faces), np.bool_), False)
    leans_out[steep] = True
    held = (drop > 0) & ~leans_out[partner]
    patches = []
    for g in largest:
        outline = ~inner & (label[position[owner]] == g)
        patches.append((level[label == g], _Border(vertices[ends[outline]][:, :, :2], held[outline])))
    return patches


def _sides(vertices: FloatArray, faces: IntArray, level: IntArray) -> tuple[IntArray, IntArray, NDArray[np.int64]]:
    """Every side of the level faces: owner (k,), end vertices (k, 2), and the face at its other side, -1 if none."""
    near = np.zeros(len(vertices), np.bool_)
    near[faces[level]] = True
    a, b, c = (near[faces[:, k]] for k in range(3))
    around = np.flatnonzero((a & b) | (b & c) | (c & a))
    key = _directed(faces[around], len(vertices)).ravel()
    order = np.argsort(key, kind="stable")
    ends = np.stack([faces[level], np.roll(faces[level], -1, axis=1)], axis=2).reshape(-1, 2)
    wanted = ends[:, 1].astype(np.int64) * len(vertices) + ends[:, 0]  # the neighbour runs along it the other way
    at = np.minimum(np.searchsorted(key[order], wanted), len(key) - 1)
    partner = np.where(key[order][at] == wanted, around[order[at] // 3], -1)
    return np.repeat(level, 3), ends.astype(np.int32), partner


def _directed(faces: IntArray, count: int) -> NDArray[np.int64]:
    """(m, 3) one number for each side, by its first and second vertex."""
    first: NDArray[np.int64] = faces.astype(np.int64) * count
    return first + np.roll(faces, -1, axis=1)


def _span(border: _Border, most_mm: float) -> float | None:
    """The longest line across in the direction in which that is shortest; None when no direction is held and short."""
    best: float | None = None
    for direction in _directions(border):
        longest = _longest_line(border, direction)
        if longest is not None and longest <= most_mm * (1 + 1e-6) and (best is None or longest < best):
            best = longest
    return best


def _directions(border: _Border) -> FloatArray:
    """(d, 2) unit vectors across the held edges, those with most length behind them first."""
    along = (border.ends[:, 1] - border.ends[:, 0])[border.held]
    length = np.hypot(along[:, 0], along[:, 1])
    along, length = along[length > 0], length[length > 0]
    angle = np.round(np.degrees(np.arctan2(along[:, 1], along[:, 0])) % 180, 1) % 180
    names, group = np.unique(angle, return_inverse=True)
    order = np.argsort(-np.bincount(group, length, len(names)), kind="stable")[:DIRECTIONS_MOST]
    across = np.radians(names[order] + 90)
    return np.column_stack([np.cos(across), np.sin(across)])


def _longest_line(border: _Border, direction: FloatArray) -> float | None:
    """Length of the longest line across the outline in a direction; None where lines end without a wall below."""
    x = border.ends @ direction
    y = border.ends @ np.array([-direction[1], direction[0]])
    low, high = float(y.min()), float(y.max())
    spacing = max(LINE_SPACING_MM, (high - low) / LINES_MOST)
    lines = max(int((high - low) / spacing), 1)
    spacing = (high - low) / lines
    if spacing <= 0:
        return None
    place = (y - low) / spacing - 0.5  # line k runs at k
    first = np.ceil(place.min(axis=1)).astype(np.int64)
    count = np.maximum(np.ceil(place.max(axis=1)).astype(np.int64) - first, 0)  # half open, as neighbours share ends
    edge = np.repeat(np.arange(len(place)), count)
    line = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count) + first[edge]
    share = (line - place[edge, 0]) / (place[edge, 1] - place[edge, 0])
    at = x[edge, 0] + share * (x[edge, 1] - x[edge, 0])
    order = np.lexsort([at, line])
    if len(order) % 2 or not len(order):
        return None
    line, at, held = line[order], at[order], border.held[edge[order]]
    if (line[::2] != line[1::2]).any():  # the outline is torn
        return None
    length = at[1::2] - at[::2]
    both = held[::2] & held[1::2]
    if length[both].sum() < HELD_SHARE_LEAST * length.sum() or not both.any():
        return None
    return float(length.max())
