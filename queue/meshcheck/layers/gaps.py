"""Places too narrow for the walls drawn: filled with single lines of the width that is there.

A region left over by a wall is narrower than a line. Its middle line is found from its edge: from points along the
edge a ray goes straight inward to the edge across, and the middle of the ray is a point of the middle line. Every
place is met from both sides, so a ray counts only where the edge across comes later in the order of the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection
from numba import njit

from meshcheck.layers.lines import flatten
from meshcheck.types import FloatArray

_STEP_WIDTHS = 0.5  # points along the edge, in line widths
_SHORTEST_WIDTHS = 0.75  # shorter middle lines are crumbs at corners: counted, not drawn
_NARROWEST_MM = 0.02  # the tolerance to which contours are thinned: nothing narrower is a place
_SLABS_MOST = 2_000
_WORK_MOST = 20_000_000  # rays times edges in one layer; about a tenth of a second


@dataclass(frozen=True, slots=True, eq=False)
class Gaps:
    """``lines_mm``: middle lines, each (k, 2); ``widths_mm`` (len(lines_mm),): the mean width of each. ``undrawn_mm2``
    is what is left of ``area_mm2`` beside them."""

    lines_mm: tuple[FloatArray, ...]
    widths_mm: tuple[float, ...]
    area_mm2: float
    undrawn_mm2: float


NO_GAPS = Gaps((), (), 0.0, 0.0)


def gaps_between(left_over: CrossSection, width_mm: float) -> Gaps:
    """Lines that fill ``left_over``, which is nowhere much wider than a line of ``width_mm``."""
    loops = [np.asarray(loop, dtype=np.float64) for loop in left_over.to_polygons()]
    area_mm2 = left_over.area()
    if not loops:
        return NO_GAPS
    points, starts = flatten(loops)
    step = _STEP_WIDTHS * width_mm
    edge = np.concatenate([np.roll(loop, -1, axis=0) for loop in loops]) - points
    rays = np.maximum(1, np.ceil(np.hypot(edge[:, 0], edge[:, 1]) / step)).astype(np.int64)
    if int(rays.sum()) * len(points) > _WORK_MOST:
        return Gaps((), (), area_mm2, area_mm2)
    # diagonally across a corner a place may be a little wider than a line
    middle, across, line = _middle_lines(points, edge, starts, rays, 1.2 * width_mm, _NARROWEST_MM)
    lines, widths, drawn_mm2 = [], [], 0.0
    for number in range(int(line[-1]) + 1 if len(line) else 0):
        low, high = np.searchsorted(line, [number, number + 1])
        step_mm = np.diff(middle[low:high], axis=0)
        length = float(np.hypot(step_mm[:, 0], step_mm[:, 1]).sum())
        if length < _SHORTEST_WIDTHS * width_mm:
            continue
        lines.append(middle[low:high])
        widths.append(float(across[low:high].mean()))
        drawn_mm2 += length * widths[-1]
    return Gaps(tuple(lines), tuple(widths), area_mm2, max(0.0, area_mm2 - drawn_mm2))


@njit(cache=True, nogil=True)
def slabs(points, edge, height):  # type: ignore[no-untyped-def]
    """Edges by the slabs of ``height`` along y that they meet: lowest y, and the numbers of the edges of slab k in
    ``members[first[k] : first[k + 1]]``, ascending."""
    low = points[:, 1].min()
    count = int((points[:, 1].max() - low) / height) + 1
    first = np.zeros(count + 1, np.int64)
    spans = np.empty((points.shape[0], 2), np.int64)
    for k in range(points.shape[0]):
        y, beyond = points[k, 1], points[k, 1] + edge[k, 1]
        spans[k, 0] = max(0, int((min(y, beyond) - low) / height))
        spans[k, 1] = min(count - 1, int((max(y, beyond) - low) / height))
        for slab in range(spans[k, 0], spans[k, 1] + 1):
            first[slab + 1] += 1
    for slab in range(count):
        first[slab + 1] += first[slab]
    members = np.empty(first[count], np.int64)
    filled = first[:-1].copy()
    for k in range(points.shape[0]):
        for slab in range(spans[k, 0], spans[k, 1] + 1):
            members[filled[slab]] = k
            filled[slab] += 1
    return low, first, members


@njit(cache=True, nogil=True)
def _across(points, edge, own, x, y, nx, ny, reach, height, low, first, members):  # type: ignore[no-untyped-def]
    """The edge other than ``own`` that a ray from (x, y) along the unit vector (nx, ny) meets first within ``reach``:
    its number (-1: none) and the distance. The slabs as ``slabs`` gives them."""
    best = -1
    nearest = np.inf
    slack = 1e-6 * reach  # the place where a ray starts is rounded
    bottom = int((min(y, y + reach * ny) - slack - low) / height)
    top = int((max(y, y + reach * ny) + slack - low) / height)
    for at in range(first[max(bottom, 0)], first[min(top, first.size - 2) + 1]):
        k = members[at]
        if k == own:
            continue
        turn = nx * edge[k, 1] - ny * edge[k, 0]
        if turn == 0:
            continue
        dx = points[k, 0] - x
        dy = points[k, 1] - y
        share = (dx * ny - dy * nx) / turn
        if share < 0 or share > 1:
            continue
        distance = (dx * edge[k, 1] - dy * edge[k, 0]) / turn
        if 0 < distance < nearest or (distance == nearest and k < best):
            nearest = distance
            best = k
    return best, nearest


@njit(cache=True, nogil=True)
def _middle_lines(points, edge, starts, rays, widest, narrowest):  # type: ignore[no-untyped-def]
    """Middle points (m, 2) with the width there (m,) and the number of the line each belongs to, ascending."""
    total = rays.sum()
    middle = np.empty((total + starts.size, 2))
    across = np.empty(total + starts.size)
    line = np.empty(total + starts.size, np.int64)
    filled = 0
    lines = -1
    # as high as a ray is long, so that it meets two or three of them
    height = max(widest, (points[:, 1].max() - points[:, 1].min()) / _SLABS_MOST)
    low, first, members = slabs(points, edge, height)
    for loop in range(starts.size - 1):
        kept_before = False
        loop_begin = filled
        unbroken = True
        for i in range(starts[loop], starts[loop + 1]):
            length = np.hypot(edge[i, 0], edge[i, 1])
            if length == 0:
                continue
            for r in range(rays[i]):
                part = (r + 0.5) / rays[i]
                x = points[i, 0] + part * edge[i, 0]
                y = points[i, 1] + part * edge[i, 1]
                nx = -edge[i, 1] / length
                ny = edge[i, 0] / length
                hit, width = _across(points, edge, i, x, y, nx, ny, widest, height, low, first, members)
                if hit <= i or width > widest or width < narrowest:
                    kept_before = False
                    unbroken = False
                    continue
                if not kept_before:
                    lines += 1
                middle[filled, 0] = x + 0.5 * width * nx
                middle[filled, 1] = y + 0.5 * width * ny
                across[filled] = width
                line[filled] = lines
                filled += 1
                kept_before = True
        if unbroken and filled > loop_begin + 2:  # all the way round: close it
            middle[filled] = middle[loop_begin]
            across[filled] = across[loop_begin]
            line[filled] = lines
            filled += 1
    return middle[:filled], across[:filled], line[:filled]
