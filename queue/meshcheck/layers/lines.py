"""Order and draw the lines of one layer: loops of walls and scan-lines of skins and infill.

A line is never drawn alone where it can be joined: scan-lines that lie next to each other and to nothing else form a
run, drawn to and fro; runs and loops are then taken nearest first. That is how any sensible printer path is made, and
without it the way between lines would be counted several times over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.types import FloatArray

# beyond this many pieces in one layer they are taken as they come: the search grows with the square
_NEAREST_MOST = 600
_JOINED = 3.0  # neighbouring lines whose ends lie within this many spacings are joined by a printed line

Starts = NDArray[np.int64]
Flags = NDArray[np.bool_]


def flatten(loops: Sequence[FloatArray]) -> tuple[FloatArray, Starts]:
    """Loops end to end: points (p, 2) and starts (len(loops) + 1,)."""
    starts = np.concatenate([[0], np.cumsum([len(loop) for loop in loops])]).astype(np.int64)
    points = np.concatenate(loops) if loops else np.zeros((0, 2))
    return np.ascontiguousarray(points, dtype=np.float64), starts


def draw_loops(loops: Sequence[FloatArray], start_mm: tuple[float, float]) -> tuple[FloatArray, NDArray[np.int32]]:
    """All loops, nearest first from ``start_mm``, each entered at its nearest point and closed.

    Returns the points (k, 2) and for each the loop whose line ends there, or -1 where the head only travels to it.
    """
    points, starts = flatten(loops)
    path, owner = _draw_loops(points, starts, start_mm[0], start_mm[1], len(loops) <= _NEAREST_MOST)
    return path, owner


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Parallel lines not yet in order: row r lies at ``(lowest + r + 0.5) * spacing_mm`` across the direction
    ``angle_rad``; its lines are ``ends_mm[start[r]:start[r + 1]]``, ascending, two places along the row for each."""

    start: Starts
    ends_mm: FloatArray
    lowest: int
    angle_rad: float
    spacing_mm: float

    @property
    def length_mm(self) -> float:
        return float(self.ends_mm[1::2].sum() - self.ends_mm[::2].sum())


def hatch(
    loops: Sequence[FloatArray], angle_rad: float, spacing_mm: float, start_mm: tuple[float, float]
) -> tuple[FloatArray, Flags]:
    """Parallel lines inside ``loops`` (even-odd), in the order in which they are drawn; see ``draw_rows``.

    Lines lie ``spacing_mm`` apart at ``angle_rad`` to the x axis, on a grid through the origin shifted by half a
    spacing, so that layers above each other share it. ValueError when the spacing is not above zero.
    """
    if not spacing_mm > 0:
        raise ValueError("the spacing of lines must be above zero")
    points, starts = flatten(loops)
    along, across = np.ascontiguousarray((points @ _turn(angle_rad)).T)
    row_start, ends, lowest = _rows(along, across / spacing_mm - 0.5, starts)
    return draw_rows(Rows(row_start, ends, int(lowest), angle_rad, spacing_mm), start_mm)


def draw_rows(rows: Rows, start_mm: tuple[float, float]) -> tuple[FloatArray, Flags]:
    """Lines in the order in which they are drawn from ``start_mm``: points (k, 2) and drawn (k,), True where a line
    ends at the point, False where the head only travels to it."""
    if len(rows.ends_mm) == 0:
        return np.zeros((0, 2)), np.zeros(0, np.bool_)
    turn, spacing = _turn(rows.angle_rad), rows.spacing_mm
    start_along, start_across = np.array(start_mm) @ turn
    start_row = start_across / spacing - 0.5 - rows.lowest
    path, drawn = _walk(rows.start, rows.ends_mm, spacing, float(start_along), float(start_row), _JOINED, _NEAREST_MOST)
    path[:, 1] = (path[:, 1] + rows.lowest + 0.5) * spacing
    return path @ turn.T, drawn


def _turn(angle_rad: float) -> FloatArray:
    """Points (n, 2) times this are their places along and across the direction."""
    cos, sin = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[cos, -sin], [sin, cos]])


@njit(cache=True, nogil=True)
def _draw_loops(points, starts, x, y, nearest):  # type: ignore[no-untyped-def]
    loops = starts.size - 1
    path = np.empty((points.shape[0] + loops, 2))
    owner = np.empty(points.shape[0] + loops, np.int32)
    done = np.zeros(loops, np.bool_)
    filled = 0
    for turn in range(loops):
        best = turn
        entry = starts[turn]
        if nearest:
            shortest = np.inf
            for k in range(loops):
                if done[k]:
                    continue
                for i in range(starts[k], starts[k + 1]):
                    square = (points[i, 0] - x) ** 2 + (points[i, 1] - y) ** 2
                    if square < shortest:
                        shortest = square
                        best = k
                        entry = i
        done[best] = True
        size = starts[best + 1] - starts[best]
        for i in range(size + 1):
            p = starts[best] + (entry - starts[best] + i) % size
            path[filled, 0] = points[p, 0]
            path[filled, 1] = points[p, 1]
            owner[filled] = best if i > 0 else -1
            filled += 1
        x = points[entry, 0]
        y = points[entry, 1]
    return path, owner


@njit(cache=True, nogil=True)
def _rows(along, across, starts):  # type: ignore[no-untyped-def]
    """Where each whole-numbered row meets the loops, sorted along the row: row starts (r + 1,), places, first row."""
    if along.size == 0:
        return np.zeros(1, np.int64), np.zeros(0), 0
    lowest = int(np.floor(across.min())) + 1
    rows = max(0, int(np.floor(across.max())) - lowest + 1)
    row_start = np.zeros(rows + 1, np.int64)
    position = row_start[:0].copy()
    places = np.zeros(0)
    for counting in (True, False):
        for loop in range(starts.size - 1):
            q = starts[loop + 1] - 1
            for p in range(starts[loop], starts[loop + 1]):
                low = min(across[p], across[q])
                high = max(across[p], across[q])
                # a row at the upper end counts, at the lower end not: every corner is met once
                for row in range(int(np.floor(low)) + 1 - lowest, int(np.floor(high)) + 1 - lowest):
                    if counting:
                        row_start[row + 1] += 1
                        continue
                    place = along[p] + (row + lowest - across[p]) / (across[q] - across[p]) * (along[q] - along[p])
                    k = position[row]
                    position[row] = k + 1
                    while k > row_start[row] and places[k - 1] > place:
                        places[k] = places[k - 1]
                        k -= 1
                    places[k] = place
                q = p
        if counting:
            for row in range(rows):
                row_start[row + 1] += row_start[row]
            position = row_start[:-1].copy()
            places = np.zeros(row_start[rows])
    return row_start, places, lowest


@njit(cache=True, nogil=True)
def _runs(row_start, places):  # type: ignore[no-untyped-def]
    """For each line the next one of its run (-1 at the end), its row, and whether it begins a run.

    Two lines of neighbouring rows belong together when they overlap each other and no other line of those rows.
    """
    lines = places.size // 2
    following = np.full(lines, -1, np.int32)
    row_of = np.empty(lines, np.int32)
    begins = np.ones(lines, np.bool_)
    above = np.zeros(lines, np.int32)
    below = np.zeros(lines, np.int32)
    for row in range(row_start.size - 1):
        for line in range(row_start[row] // 2, row_start[row + 1] // 2):
            row_of[line] = row
    for row in range(row_start.size - 2):
        middle = row_start[row + 1] // 2
        end = row_start[row + 2] // 2
        for sweep in range(2):  # first count the overlaps, then join the lines that have just one
            a = row_start[row] // 2
            b = middle
            while a < middle and b < end:
                if min(places[2 * a + 1], places[2 * b + 1]) > max(places[2 * a], places[2 * b]):
                    if sweep == 0:
                        above[a] += 1
                        below[b] += 1
                    elif above[a] == 1 and below[b] == 1:
                        following[a] = b
                        begins[b] = False
                if places[2 * a + 1] < places[2 * b + 1]:
                    a += 1
                else:
                    b += 1
    return following, row_of, begins


@njit(cache=True, nogil=True)
def _walk(row_start, places, spacing, x, y, joined, nearest_most):  # type: ignore[no-untyped-def]
    """Draw the runs, nearest end first, to and fro: points (k, 2) in mm along and in rows across, drawn (k,)."""
    following, row_of, begins = _runs(row_start, places)
    first = np.empty(begins.size, np.int32)
    last = np.empty(begins.size, np.int32)
    before = np.full(begins.size, -1, np.int32)
    runs = 0
    for line in range(begins.size):
        if begins[line]:
            first[runs] = line
            runs += 1
    for r in range(runs):
        last[r] = first[r]
        while following[last[r]] >= 0:
            before[following[last[r]]] = last[r]
            last[r] = following[last[r]]
    path = np.empty((places.size, 2))
    drawn = np.zeros(places.size, np.bool_)
    done = np.zeros(runs, np.bool_)
    filled = 0
    for turn in range(runs):
        best = turn
        side = 0
        upward = True
        shortest = np.inf
        for r in range(runs if runs <= nearest_most else 0):
            if done[r]:
                continue
            for corner in range(4):
                line = first[r] if corner < 2 else last[r]
                reach = (places[2 * line + corner % 2] - x) ** 2 + ((row_of[line] - y) * spacing) ** 2
                if reach < shortest:
                    shortest = reach
                    best = r
                    side = corner % 2
                    upward = corner < 2
        done[best] = True
        line = first[best] if upward else last[best]
        entered = filled
        while line >= 0:
            near = places[2 * line + side]
            drawn[filled] = filled > entered and abs(near - x) <= joined * spacing
            path[filled, 0] = near
            path[filled + 1, 0] = places[2 * line + 1 - side]
            drawn[filled + 1] = True
            x = path[filled + 1, 0]
            y = float(row_of[line])
            path[filled, 1] = y
            path[filled + 1, 1] = y
            filled += 2
            side = 1 - side
            line = following[line] if upward else before[line]
    return path, drawn
