"""Arcs of G2 and G3 as chords, in compiled code.

Centre form and radius form as NISTIR 6556, section 3.5.3 describes them (section number from memory): an arc runs in
one of three planes, any movement of the third axis makes it a helix, and an arc that ends where it begins is a full
circle. A radius below zero asks for the longer way round.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

SAGITTA_MM = 0.005  # chords leave the arc by no more
CHORDS_MOST = 3600
RADIUS_MOST_MM = 1e5
# the radius may differ between begin and end by what rounding to two decimals of an inch makes of it, no more
_ROUNDED_MM = 0.05
_ROUNDED_SHARE = 1e-3
_SLIP_MM = 0.5


@njit(cache=True, nogil=True)
def centre_of_radius(dx, dy, radius, clockwise):  # type: ignore[no-untyped-def]
    """The centre, from the begin, of an arc of ``radius`` to (dx, dy); also whether there is one."""
    chord = np.hypot(dx, dy)
    short = chord / 2 - abs(radius)
    if chord < 1e-9 or short > _ROUNDED_MM:
        return 0.0, 0.0, False
    height = np.sqrt(max(0.0, radius * radius - chord * chord / 4))
    side = 1.0 if clockwise else -1.0  # the shorter way clockwise has its centre to the right
    if radius < 0:
        side = -side
    return dx / 2 + side * height * dy / chord, dy / 2 - side * height * dx / chord, True


@njit(cache=True, nogil=True)
def arc(first, second, third, to_first, to_second, to_third, centre_first, centre_second, clockwise, chords):  # type: ignore[no-untyped-def]
    """Chords of an arc in the plane of two axes: the ends go to ``chords`` (n, 3), in that order of axes.

    Answers how many there are (0: this is no arc), the arc's own length, and that length over the chords' length.
    """
    begin = np.hypot(first - centre_first, second - centre_second)
    end = np.hypot(to_first - centre_first, to_second - centre_second)
    slip = abs(begin - end)
    if begin < 1e-6 or begin > RADIUS_MOST_MM or slip > _SLIP_MM:
        return 0, 0.0, 1.0
    if slip > _ROUNDED_MM and slip > _ROUNDED_SHARE * begin:
        return 0, 0.0, 1.0
    from_angle = math.atan2(second - centre_second, first - centre_first)
    to_angle = math.atan2(to_second - centre_second, to_first - centre_first)
    sweep = (from_angle - to_angle if clockwise else to_angle - from_angle) % (2 * math.pi)
    if np.hypot(to_first - first, to_second - second) < 1e-6:
        sweep = 2 * math.pi
    step = 2 * math.acos(max(math.sqrt(0.5), 1 - SAGITTA_MM / begin))
    count = min(CHORDS_MOST, max(1, math.ceil(sweep / step)))
    rise = to_third - third
    for k in range(1, count):
        part = k / count
        turned = from_angle + (-sweep if clockwise else sweep) * part
        radius = begin + (end - begin) * part
        chords[k - 1, 0] = centre_first + radius * math.cos(turned)
        chords[k - 1, 1] = centre_second + radius * math.sin(turned)
        chords[k - 1, 2] = third + rise * part
    chords[count - 1, 0], chords[count - 1, 1], chords[count - 1, 2] = to_first, to_second, to_third
    radius = (begin + end) / 2
    length = np.hypot(radius * sweep, rise)
    chord_length = count * np.hypot(2 * radius * math.sin(sweep / count / 2), rise / count)
    return count, length, length / chord_length if chord_length > 0 else 1.0
