"""Compiled bottom-left packing of any convex outlines: circles, rectangles and hulls, each in up to four turns.

As ``planning.packing``, but every outline is a polygon grown by a radius (a circle is one corner), and two of them keep
a gap when the centre of the one lies outside the other's no-fit polygon, the Minkowski difference of both, grown by
both radii and the gap (for convex polygons its sides are theirs in order of angle: M. de Berg et al., "Computational
Geometry", 3rd ed., section 13.3). Positions are the middles of bounding boxes, from the front left corner of the usable
bed.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.compiled import inner, kernel
from planning.packing import RASTER_MM, SLACK_MM, TOLERANCE_MM

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
TURNS = 4  # quarters


class Forms(NamedTuple):
    """f turned polygons: corners ``first[i]`` to ``first[i] + count[i]``, anticlockwise about the middle of their box;
    half sizes of that box."""

    first: Ints
    corners: Ints
    x: Floats
    y: Floats
    half_width: Floats
    half_depth: Floats


class NoFits(NamedTuple):
    """For each pair of forms, standing and coming, where the coming one's middle may not be: corners from ``first``."""

    first: Ints  # (f, f)
    corners: Ints  # (f, f)
    x: Floats
    y: Floats


class Bodies(NamedTuple):
    """n parts: their form in each turn (-1: none, or it looks like one before), and the radius around it."""

    form: Ints  # (n, 4)
    radius: Floats


class Standing(NamedTuple):
    """What stands where, p plates of up to c parts; (p, c) arrays; ``there`` (p,): how many."""

    x: Floats
    y: Floats
    form: Ints
    radius: Floats
    there: Ints
    refused: Floats  # (p, f) by first form: the smallest radius around it that found no place
    front: Floats  # room to work in, (c,)
    back: Floats


@inner
def _lowest(forms, form, sign):  # type: ignore[no-untyped-def]
    """The corner with the least y, then x, of the form or (sign -1) of the form turned by 180 degrees."""
    best = 0
    for at in range(1, forms.corners[form]):
        y, x = sign * forms.y[forms.first[form] + at], sign * forms.x[forms.first[form] + at]
        other_y, other_x = sign * forms.y[forms.first[form] + best], sign * forms.x[forms.first[form] + best]
        if y < other_y or (y == other_y and x < other_x):
            best = at
    return best


@kernel
def no_fits(forms):  # type: ignore[no-untyped-def]
    """All pairs of forms."""
    total = len(forms.corners)
    first, count = np.zeros((total, total), np.int64), np.zeros((total, total), np.int64)
    size = 0
    for one in range(total):
        for other in range(total):
            size += forms.corners[one] + forms.corners[other]
    xs, ys = np.zeros(size), np.zeros(size)
    end = 0
    for one in range(total):
        for other in range(total):
            first[one, other] = end
            a, b = _lowest(forms, one, 1.0), _lowest(forms, other, -1.0)
            ca, cb = forms.corners[one], forms.corners[other]
            fa, fb = forms.first[one], forms.first[other]
            x, y = forms.x[fa + a] - forms.x[fb + b], forms.y[fa + a] - forms.y[fb + b]
            i, j = 0, 0
            sides_a, sides_b = (ca if ca > 1 else 0), (cb if cb > 1 else 0)
            xs[end], ys[end] = x, y
            end += 1
            while i + j < sides_a + sides_b - 1:
                ax = forms.x[fa + (a + i + 1) % ca] - forms.x[fa + (a + i) % ca]
                ay = forms.y[fa + (a + i + 1) % ca] - forms.y[fa + (a + i) % ca]
                bx = forms.x[fb + (b + j) % cb] - forms.x[fb + (b + j + 1) % cb]
                by = forms.y[fb + (b + j) % cb] - forms.y[fb + (b + j + 1) % cb]
                if j >= sides_b or (i < sides_a and ax * by - ay * bx >= 0):
                    x, y, i = x + ax, y + ay, i + 1
                else:
                    x, y, j = x + bx, y + by, j + 1
                xs[end], ys[end] = x, y
                end += 1
            count[one, other] = end - first[one, other]
    return first, count, xs, ys


@inner
def _blocked(fits, one, other, x, reach):  # type: ignore[no-untyped-def]
    """Between which y, at that x, the middle may not be: the grown no-fit polygon is convex, so from one to another;
    front > back where it passes beside it."""
    first, count = fits.first[one, other], fits.corners[one, other]
    front, back = np.inf, -np.inf
    for at in range(first, first + count):
        beside = x - fits.x[at]
        if abs(beside) < reach:
            half = math.sqrt(reach * reach - beside * beside)
            front, back = min(front, fits.y[at] - half), max(back, fits.y[at] + half)
        following = at + 1 if at + 1 < first + count else first
        dx, dy = fits.x[following] - fits.x[at], fits.y[following] - fits.y[at]
        if abs(dx) < 1e-12:
            continue
        length = math.hypot(dx, dy)
        push_x, push_y = reach * dy / length, -reach * dx / length
        share = (beside - push_x) / dx
        if 0.0 <= share <= 1.0:
            y = fits.y[at] + push_y + share * dy
            front, back = min(front, y), max(back, y)
    return front, back


@inner
def _span(bed, forms, form, radius, x):  # type: ignore[no-untyped-def]
    """Between which y the middle may be on an empty bed at that x; front > back when nowhere."""
    if bed.radius_mm == 0:
        half = forms.half_depth[form] + radius
        return half, bed.depth_mm - half
    front, back = -np.inf, np.inf
    for at in range(forms.first[form], forms.first[form] + forms.corners[form]):
        beside = x + forms.x[at] - bed.radius_mm
        room = (bed.radius_mm - radius) ** 2 - beside * beside
        if room < 0:
            return np.inf, -np.inf
        front = max(front, bed.radius_mm - math.sqrt(room) - forms.y[at])
        back = min(back, bed.radius_mm + math.sqrt(room) - forms.y[at])
    return front, back


@inner
def _first_free(bed, forms, fits, plates, plate, form, radius, x, y_most):  # type: ignore[no-untyped-def]
    """The foremost y at that x where nothing is in the way, if it is at most ``y_most``; else inf."""
    y, back_most = _span(bed, forms, form, radius, x)
    y_most = min(y_most, back_most + TOLERANCE_MM)
    if y > y_most:
        return np.inf
    near = 0
    half = forms.half_width[form] + radius + bed.gap_mm
    for other in range(plates.there[plate]):
        standing = plates.form[plate, other]
        dx = x - plates.x[plate, other]
        if abs(dx) >= half + forms.half_width[standing] + plates.radius[plate, other]:
            continue
        deep = forms.half_depth[form] + forms.half_depth[standing] + radius + plates.radius[plate, other] + bed.gap_mm
        if plates.y[plate, other] + deep <= y or plates.y[plate, other] - deep >= y_most:
            continue
        front, back = _blocked(fits, standing, form, dx, radius + plates.radius[plate, other] + bed.gap_mm)
        if front < back:
            plates.front[near] = front + plates.y[plate, other]
            plates.back[near] = back + plates.y[plate, other]
            near += 1
    moved = True
    while moved:
        moved = False
        for other in range(near):
            if plates.front[other] < y < plates.back[other]:
                y = plates.back[other] + SLACK_MM
                moved = True
                if y > y_most:
                    return np.inf
    return y


@inner
def _foremost(bed, forms, fits, plates, plate, form, radius, y_most):  # type: ignore[no-untyped-def]
    """The foremost, then leftmost place on a plate, no further back than ``y_most``: x, y, or y = inf for none."""
    best_x, best_y = 0.0, np.inf
    half = forms.half_width[form] + radius
    standing = plates.there[plate]
    raster = int((bed.width_mm - 2 * half) / RASTER_MM) + 3
    for candidate in range(raster + 2 * standing):
        if candidate < raster - 2:
            x = half + candidate * RASTER_MM
        elif candidate < raster:
            x = bed.width_mm - half if candidate == raster - 1 else bed.width_mm / 2
        else:
            other, side = (candidate - raster) // 2, 1.0 if (candidate - raster) % 2 else -1.0
            beside = forms.half_width[plates.form[plate, other]] + plates.radius[plate, other]
            x = plates.x[plate, other] + side * (beside + half + bed.gap_mm + SLACK_MM)
        if x - half < -TOLERANCE_MM or x + half > bed.width_mm + TOLERANCE_MM:
            continue
        y = _first_free(bed, forms, fits, plates, plate, form, radius, x, min(best_y, y_most))
        if y < best_y or (y == best_y and x < best_x):
            best_x, best_y = x, y
    return best_x, best_y


@inner
def _put(bed, forms, fits, bodies, plates, plate, part):  # type: ignore[no-untyped-def]
    """Add a part to a plate in the turn that brings its back edge most forward: the turn, or -1."""
    at, radius = plates.there[plate], bodies.radius[part]
    if at >= plates.x.shape[1] or radius >= plates.refused[plate, bodies.form[part, 0]]:
        return -1
    chosen, best_back = -1, np.inf
    for turn in range(TURNS):
        form = bodies.form[part, turn]
        if form < 0:
            continue
        x, y = _foremost(bed, forms, fits, plates, plate, form, radius, best_back - forms.half_depth[form])
        back = y + forms.half_depth[form]
        if back < best_back - TOLERANCE_MM:
            chosen, best_back = turn, back
            plates.x[plate, at], plates.y[plate, at] = x, y
            plates.form[plate, at], plates.radius[plate, at] = form, radius
    if chosen >= 0:
        plates.there[plate] = at + 1
    return chosen


@kernel
def fill_hulls(bed, forms, fits, bodies, block_forms, order, group_from, group_of, capacity, most_plates):  # type: ignore[no-untyped-def]
    """First fit of groups of parts, as ``planning.packing.fill``; ``block_forms``: the forms of the bed's blocks."""
    blocks = len(block_forms)
    slots = capacity + blocks
    plates = Standing(
        np.zeros((most_plates, slots)),
        np.zeros((most_plates, slots)),
        np.zeros((most_plates, slots), np.int64),
        np.zeros((most_plates, slots)),
        np.zeros(most_plates, np.int64),
        np.full((most_plates, len(forms.corners)), np.inf),
        np.zeros(slots),
        np.zeros(slots),
    )
    for plate in range(most_plates):
        for block in range(blocks):
            plates.x[plate, block], plates.y[plate, block] = bed.blocks[block, 0], bed.blocks[block, 1]
            plates.form[plate, block] = block_forms[block]
        plates.there[plate] = blocks
    total = len(bodies.radius)
    plate_of, turn_of = np.full(total, -1, np.int64), np.zeros(total, np.int64)
    x_of, y_of = np.zeros(total), np.zeros(total)
    used = 0
    for group in order:
        placed = False
        for plate in range(min(used + 1, most_plates)):
            before = plates.there[plate]
            placed = True
            for at in range(group_from[group], group_from[group + 1]):
                part = group_of[at]
                turn = _put(bed, forms, fits, bodies, plates, plate, part)
                if turn < 0:
                    if plates.there[plate] == before:  # else what stands there goes again with its group
                        plates.refused[plate, bodies.form[part, 0]] = bodies.radius[part]
                    placed = False
                    break
                turn_of[part], plate_of[part] = turn, plate
                x_of[part] = plates.x[plate, plates.there[plate] - 1]
                y_of[part] = plates.y[plate, plates.there[plate] - 1]
            if placed:
                used = max(used, plate + 1)
                break
            plates.there[plate] = before
        if not placed:
            return -1, plate_of, x_of, y_of, turn_of
    return used, plate_of, x_of, y_of, turn_of
