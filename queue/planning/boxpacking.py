"""Compiled packing of boxes into the free rectangles of each bed.

Beside the bottom-left packing, because a mix of rectangles sometimes stands on fewer plates this way. Every bed keeps
its largest free rectangles; a box goes into a corner of the one that suits it best by a rule, and what it cuts is split
(J. Jylänki, "A thousand ways to pack the bin", 2010, section 2.3). Only for rectangular beds. A box and the gap to
its right and behind it are one box, on a bed that much wider and deeper. In whole steps of STEP_MM, so that boxes that
fill a bed to the end do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planning.compiled import inner, kernel

STEP_MM = 1e-4
ROUNDED = 1e-3  # of a step: so much more is taken for rounding


def steps(mm: NDArray[np.float64] | float) -> NDArray[np.int64]:
    """Lengths in steps, rounded up."""
    return np.ceil(np.asarray(mm) / STEP_MM - ROUNDED).astype(np.int64)


# What is to be least: the shorter side left, the area left (then the box as it came, or the shorter side), how far back
# it ends.
SHORT_SIDE, AREA, AREA_AND_SIDE, FOREMOST = range(4)
RULES = 4
# Free rectangles kept for a bed; of more the later ones are not used.
KEPT = 256
MOST = np.iinfo(np.int64).max


@inner
def _score(rule, free, width, depth):  # type: ignore[no-untyped-def]
    """How well a box suits a free rectangle, two figures, least is best."""
    beside, behind = free[2] - width, free[3] - depth
    if rule == SHORT_SIDE:
        return min(beside, behind), max(beside, behind)
    if rule == AREA:
        return free[2] * free[3] - width * depth, 0
    if rule == AREA_AND_SIDE:
        return free[2] * free[3] - width * depth, min(beside, behind)
    return free[1] + depth, free[0]


@inner
def _cut(free, count, x, y, width, depth):  # type: ignore[no-untyped-def]
    """Take a box out of a bed's free rectangles: how many are left."""
    before = count
    for at in range(before):
        left, front, right, back = free[at, 0], free[at, 1], free[at, 0] + free[at, 2], free[at, 1] + free[at, 3]
        if x >= right or x + width <= left:
            continue
        if y >= back or y + depth <= front:
            continue
        for side in range(4):
            new_left, new_front, new_right, new_back = left, front, right, back
            if side == 0:
                new_right = x
            elif side == 1:
                new_left = x + width
            elif side == 2:
                new_back = y
            else:
                new_front = y + depth
            if new_right - new_left > 0 and new_back - new_front > 0 and count < len(free):
                free[count, 0], free[count, 1] = new_left, new_front
                free[count, 2], free[count, 3] = new_right - new_left, new_back - new_front
                count += 1
        free[at, 2] = -1  # gone
    return _without_covered(free, count)


@inner
def _without_covered(free, count):  # type: ignore[no-untyped-def]
    """Close up: what is gone, and what lies inside another, is left out."""
    for at in range(count):
        if free[at, 2] < 0:
            continue
        for other in range(count):
            if other == at or free[other, 2] < 0:
                continue
            if (
                free[at, 0] >= free[other, 0]
                and free[at, 1] >= free[other, 1]
                and free[at, 0] + free[at, 2] <= free[other, 0] + free[other, 2]
                and free[at, 1] + free[at, 3] <= free[other, 1] + free[other, 3]
            ):
                free[at, 2] = -1
                break
    left = 0
    for at in range(count):
        if free[at, 2] >= 0:
            for column in range(4):
                free[left, column] = free[at, column]
            left += 1
    return left


@inner
def _best_place(free, count, rule, width, depth):  # type: ignore[no-untyped-def]
    """The free rectangle (-1: none) and the quarter turns for a box, with the score."""
    chosen, turn = -1, 0
    best, best_second = MOST, MOST
    for quarter in range(2):
        wide, deep = (width, depth) if quarter == 0 else (depth, width)
        for at in range(count):
            if wide > free[at, 2] or deep > free[at, 3]:
                continue
            first, second = _score(rule, free[at], wide, deep)
            if first < best or (first == best and second < best_second):
                chosen, turn, best, best_second = at, quarter, first, second
    return chosen, turn, best, best_second


@kernel
def fill_boxes(bed_size, blocks, size, order, capacity, rule, first_fit):  # type: ignore[no-untyped-def]
    """Boxes in order on as few plates as come of it; on the first plate with a place, or where they suit best.

    All in steps and with the gap: ``bed_size`` (2,), ``blocks`` (k, 4) left, front, width and depth of what is kept
    free, ``size`` (n, 2); at most ``capacity`` boxes on a plate. Returns the number of plates (-1: a box found no
    place) and per box its plate, left, front and quarter turns.
    """
    total = len(size)
    empty = np.empty((KEPT, 4), np.int64)
    empty[0, 0], empty[0, 1], empty[0, 2], empty[0, 3] = 0, 0, bed_size[0], bed_size[1]
    empty_count = 1
    for block in blocks:
        empty_count = _cut(empty, empty_count, block[0], block[1], block[2], block[3])
    free = np.empty((total, KEPT, 4), np.int64)
    count, standing = np.zeros(total, np.int64), np.zeros(total, np.int64)
    found = np.full((4, total), -1, np.int64)
    used = 0
    for part in order:
        width, depth = size[part]
        plate, place, turn = -1, -1, 0
        best, best_second = MOST, MOST
        for at in range(used + 1):
            if at == used:
                if plate >= 0 or used == total:
                    break
                free[at, :empty_count] = empty[:empty_count]
                count[at] = empty_count
            if standing[at] >= capacity:
                continue
            where, quarter, first, second = _best_place(free[at], count[at], rule, width, depth)
            if where >= 0 and (first < best or (first == best and second < best_second)):
                plate, place, turn, best, best_second = at, where, quarter, first, second
                if first_fit:
                    break
        if plate < 0:
            return -1, found[0], found[1], found[2], found[3]
        used = max(used, plate + 1)
        if turn == 1:
            width, depth = depth, width
        x, y = free[plate, place, 0], free[plate, place, 1]
        count[plate] = _cut(free[plate], count[plate], x, y, width, depth)
        standing[plate] += 1
        found[0, part], found[1, part], found[2, part], found[3, part] = plate, x, y, turn
    return used, found[0], found[1], found[2], found[3]
