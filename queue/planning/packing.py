"""Compiled bottom-left packing of circles and upright rectangles on a bed.

Every part goes as far to the front, then to the left, as it can: candidate positions are where it touches the edge or
rests against a part already there (B. S. Baker, E. G. Coffman and R. L. Rivest, "Orthogonal packings in two
dimensions", SIAM J. Comput. 9, 1980, carried over to circles). Plates are filled first fit.
Positions are part centres, measured from the front-left corner of the usable bed (the bed less its margin).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.compiled import inner, kernel

Floats = NDArray[np.float64]

# Parts are set this much further apart than asked, so that rounding never makes a gap too small.
SLACK_MM = 1e-6
TOLERANCE_MM = 1e-7
RASTER_MM = 5.0


class BedArrays(NamedTuple):
    """The usable bed; ``radius_mm`` 0 for a rectangular one. ``blocks`` (k, 4): centre and half sizes of keep-outs."""

    width_mm: float
    depth_mm: float
    radius_mm: float
    gap_mm: float
    blocks: Floats


class Parts(NamedTuple):
    """n parts: half sizes, and whether they are discs (then both half sizes are the radius)."""

    half_width: Floats
    half_depth: Floats
    is_disc: NDArray[np.bool_]


class Plates(NamedTuple):
    """What stands where, p plates of up to c parts; (p, c) arrays."""

    x: Floats
    y: Floats
    half_width: Floats
    half_depth: Floats
    is_disc: NDArray[np.bool_]
    there: NDArray[np.int64]  # (p,) how many
    refused_disc: Floats  # (p,) radius of the smallest disc that found no place


@inner
def _on_bed(bed, x, y, half_width, half_depth, disc):  # type: ignore[no-untyped-def]
    if bed.radius_mm > 0:
        dx, dy = abs(x - bed.radius_mm), abs(y - bed.radius_mm)
        if disc:
            return math.hypot(dx, dy) + half_width <= bed.radius_mm + TOLERANCE_MM
        return math.hypot(dx + half_width, dy + half_depth) <= bed.radius_mm + TOLERANCE_MM
    return (
        x - half_width >= -TOLERANCE_MM
        and x + half_width <= bed.width_mm + TOLERANCE_MM
        and y - half_depth >= -TOLERANCE_MM
        and y + half_depth <= bed.depth_mm + TOLERANCE_MM
    )


@inner
def _apart(dx, dy, half_width, half_depth, disc, other_width, other_depth, other_disc, gap):  # type: ignore[no-untyped-def]
    """Whether two parts at that distance of centres keep the gap."""
    dx, dy = abs(dx), abs(dy)
    if disc and other_disc:
        reach = half_width + other_width + gap
    elif disc:
        dx, dy, reach = max(0.0, dx - other_width), max(0.0, dy - other_depth), half_width + gap
    elif other_disc:
        dx, dy, reach = max(0.0, dx - half_width), max(0.0, dy - half_depth), other_width + gap
    else:
        dx, dy = max(0.0, dx - half_width - other_width), max(0.0, dy - half_depth - other_depth)
        reach = gap
    return dx * dx + dy * dy >= reach * reach - TOLERANCE_MM


@inner
def _rest_on(dx, half_width, half_depth, disc, other_width, other_depth, other_disc, gap):  # type: ignore[no-untyped-def]
    """How far behind another part's centre a part's centre must be, ``dx`` beside it; -1 when it passes beside it."""
    dx = abs(dx)
    if disc and other_disc:
        reach, base = half_width + other_width + gap, 0.0
    elif disc:
        dx, reach, base = max(0.0, dx - other_width), half_width + gap, other_depth
    elif other_disc:
        dx, reach, base = max(0.0, dx - half_width), other_width + gap, half_depth
    else:
        dx, reach, base = max(0.0, dx - half_width - other_width), gap, half_depth + other_depth
    if dx >= reach:
        return -1.0
    return base + math.sqrt(reach * reach - dx * dx) + SLACK_MM


@inner
def _front(bed, x, half_width, half_depth, disc):  # type: ignore[no-untyped-def]
    """The foremost centre on an empty bed for that x; -1 when there is none."""
    if bed.radius_mm == 0:
        return half_depth
    dx = abs(x - bed.radius_mm)
    if disc:
        room = (bed.radius_mm - half_width) ** 2 - dx * dx
        return bed.radius_mm - math.sqrt(room) if room >= 0 else -1.0
    room = bed.radius_mm**2 - (dx + half_width) ** 2
    return bed.radius_mm - math.sqrt(room) + half_depth if room >= 0 else -1.0


@inner
def _is_free(bed, plates, plate, x, y, half_width, half_depth, disc):  # type: ignore[no-untyped-def]
    if not _on_bed(bed, x, y, half_width, half_depth, disc):
        return False
    for other in range(plates.there[plate]):
        if not _apart(
            x - plates.x[plate, other],
            y - plates.y[plate, other],
            half_width,
            half_depth,
            disc,
            plates.half_width[plate, other],
            plates.half_depth[plate, other],
            plates.is_disc[plate, other],
            bed.gap_mm,
        ):
            return False
    return True


@inner
def _foremost(bed, plates, plate, half_width, half_depth, disc):  # type: ignore[no-untyped-def]
    """The foremost, then leftmost place for a part on a plate: x, y, or y = inf when there is none."""
    best_x, best_y = 0.0, np.inf
    standing = plates.there[plate]
    raster = int((bed.width_mm - 2 * half_width) / RASTER_MM) + 3
    for candidate in range(raster + 2 * standing):
        if candidate < raster - 2:
            x = half_width + candidate * RASTER_MM
        elif candidate < raster:
            x = bed.width_mm - half_width if candidate == raster - 1 else bed.width_mm / 2
        else:
            other, side = (candidate - raster) // 2, 1.0 if (candidate - raster) % 2 else -1.0
            reach = plates.half_width[plate, other] + half_width + bed.gap_mm + SLACK_MM
            x = plates.x[plate, other] + side * reach
        if x - half_width < -TOLERANCE_MM or x + half_width > bed.width_mm + TOLERANCE_MM:
            continue
        for other in range(-1, standing):
            if other < 0:
                y = _front(bed, x, half_width, half_depth, disc)
            else:
                y = _rest_on(
                    x - plates.x[plate, other],
                    half_width,
                    half_depth,
                    disc,
                    plates.half_width[plate, other],
                    plates.half_depth[plate, other],
                    plates.is_disc[plate, other],
                    bed.gap_mm,
                )
                if y >= 0:
                    y += plates.y[plate, other]
            if y < 0 or y > best_y or (y == best_y and x >= best_x):
                continue
            if _is_free(bed, plates, plate, x, y, half_width, half_depth, disc):
                best_x, best_y = x, y
    return best_x, best_y


@inner
def _put(bed, parts, plates, plate, part):  # type: ignore[no-untyped-def]
    """Add a part to a plate, turned where that brings its back edge forward: the quarter turns, or -1 for no place."""
    disc = parts.is_disc[part]
    width, depth = parts.half_width[part], parts.half_depth[part]
    if plates.there[plate] >= plates.x.shape[1] or (disc and width >= plates.refused_disc[plate]):
        return -1
    x, y = _foremost(bed, plates, plate, width, depth, disc)
    turn = 0
    if not disc and width != depth:
        other_x, other_y = _foremost(bed, plates, plate, depth, width, disc)
        if other_y + width < y + depth:
            x, y, turn = other_x, other_y, 1
            width, depth = depth, width
    if y == np.inf:
        if disc:
            plates.refused_disc[plate] = width
        return -1
    at = plates.there[plate]
    plates.x[plate, at], plates.y[plate, at] = x, y
    plates.half_width[plate, at], plates.half_depth[plate, at] = width, depth
    plates.is_disc[plate, at] = disc
    plates.there[plate] = at + 1
    return turn


@kernel
def fill(bed, parts, order, group_from, group_of, capacity, most_plates):  # type: ignore[no-untyped-def]
    """First fit of groups of parts, each group whole on one plate.

    ``order``: groups in the order they are placed; group g holds parts ``group_of[group_from[g]:group_from[g + 1]]``.
    Returns the number of plates (-1: a group found no place) and per part its plate, x, y and quarter turns.
    """
    blocks = len(bed.blocks)
    slots = capacity + blocks
    plates = Plates(
        np.zeros((most_plates, slots)),
        np.zeros((most_plates, slots)),
        np.zeros((most_plates, slots)),
        np.zeros((most_plates, slots)),
        np.zeros((most_plates, slots), np.bool_),
        np.zeros(most_plates, np.int64),
        np.full(most_plates, np.inf),
    )
    for plate in range(most_plates):
        for block in range(blocks):
            plates.x[plate, block], plates.y[plate, block] = bed.blocks[block, 0], bed.blocks[block, 1]
            plates.half_width[plate, block] = bed.blocks[block, 2]
            plates.half_depth[plate, block] = bed.blocks[block, 3]
        plates.there[plate] = blocks
    total = len(parts.half_width)
    plate_of = np.full(total, -1, np.int64)
    turn_of = np.zeros(total, np.int64)
    x_of, y_of = np.zeros(total), np.zeros(total)
    used = 0
    for group in order:
        first, last = group_from[group], group_from[group + 1]
        placed = False
        for plate in range(min(used + 1, most_plates)):
            before = plates.there[plate]
            refused = plates.refused_disc[plate]
            placed = True
            for at in range(first, last):
                part = group_of[at]
                turn = _put(bed, parts, plates, plate, part)
                if turn < 0:
                    placed = False
                    break
                turn_of[part] = turn
                plate_of[part] = plate
                x_of[part] = plates.x[plate, plates.there[plate] - 1]
                y_of[part] = plates.y[plate, plates.there[plate] - 1]
            if placed:
                used = max(used, plate + 1)
                break
            if plates.there[plate] != before:
                plates.there[plate], plates.refused_disc[plate] = before, refused
        if not placed:
            return -1, plate_of, x_of, y_of, turn_of
    return used, plate_of, x_of, y_of, turn_of
