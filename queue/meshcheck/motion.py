"""How long a printer's head takes along a path: trapezoids of speed, looked at ahead, without a stop at every corner.

The head speeds up and slows down at one acceleration. At a corner it may keep the speed at which a circle that touches
both legs and passes the corner at ``junction_deviation_mm`` would need just that acceleration: with s = sin(half the
angle between the legs) the circle has radius r = deviation * s / (1 - s), and v^2 = acceleration * r.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from meshcheck.types import FloatArray


def move_seconds(
    points_mm: ArrayLike,
    speed_mm_s: ArrayLike,
    acceleration_mm_s2: float,
    junction_deviation_mm: float,
    rest: ArrayLike | None = None,
) -> FloatArray:
    """Seconds (n,) of each of the n moves along ``points_mm`` (n + 1, 2 or 3), which starts and ends at rest.

    ``speed_mm_s`` (n,) is the speed asked for; ``rest`` (n + 1,) bool marks points at which the head must stand
    still. ValueError when shapes do not fit, or a speed, the acceleration or the deviation is not positive.
    """
    points = np.ascontiguousarray(points_mm, dtype=np.float64)
    speed = np.ascontiguousarray(speed_mm_s, dtype=np.float64)
    if points.ndim != 2 or len(points) != len(speed) + 1:
        raise ValueError(f"{len(speed)} speeds need {len(speed) + 1} points, not {points.shape}")
    if not (acceleration_mm_s2 > 0 and junction_deviation_mm >= 0 and (speed > 0).all()):
        raise ValueError("speeds and acceleration must be above zero")
    still: NDArray[np.bool_] = np.zeros(len(points), np.bool_) if rest is None else np.array(rest, np.bool_)
    if len(still) != len(points):
        raise ValueError(f"rest must say yes or no for each of {len(points)} points")
    seconds: FloatArray = _plan(points, speed, float(acceleration_mm_s2), float(junction_deviation_mm), still)
    return seconds


def straight_seconds(distance_mm: ArrayLike, speed_mm_s: float, acceleration_mm_s2: float) -> FloatArray:
    """Seconds of straight moves from rest to rest: d/v + v/a, or 2 sqrt(d/a) where v is never reached."""
    distance = np.asarray(distance_mm, dtype=np.float64)
    reached = distance * acceleration_mm_s2 >= speed_mm_s**2
    long = distance / speed_mm_s + speed_mm_s / acceleration_mm_s2
    seconds: FloatArray = np.where(reached, long, 2 * np.sqrt(distance / acceleration_mm_s2))
    return seconds


@njit(cache=True, nogil=True)
def _corner_square(cosine, slower, acceleration, deviation):  # type: ignore[no-untyped-def]
    """Square of the speed kept at a corner; ``cosine`` of the turn, ``slower`` of the speeds beside it."""
    half = np.sqrt(max(0.0, 0.5 * (1 + cosine)))  # sine of half the angle between the legs
    if half >= 1 - 1e-12:
        return slower * slower
    return min(slower * slower, acceleration * deviation * half / (1 - half))


@njit(cache=True, nogil=True)
def _plan(points, speed, acceleration, deviation, rest):  # type: ignore[no-untyped-def]
    """Squares of the speed at every point: limited by the corner, then backward and forward by the acceleration."""
    moves = speed.size
    dimensions = points.shape[1]
    length = np.empty(moves)
    square = np.zeros(moves + 1)
    before = -1
    still = True  # the head stands at the first point, and where told to, also over moves of no length
    for i in range(moves):
        total = 0.0
        for d in range(dimensions):
            total += (points[i + 1, d] - points[i, d]) ** 2
        length[i] = np.sqrt(total)
        still = still or rest[i]
        if length[i] == 0:
            continue
        if not still:
            dot = 0.0
            for d in range(dimensions):
                dot += (points[i + 1, d] - points[i, d]) * (points[before + 1, d] - points[before, d])
            slower = min(speed[before], speed[i])
            square[i] = _corner_square(dot / (length[i] * length[before]), slower, acceleration, deviation)
        # moves of no length between two others carry the speed over
        for k in range(before + 1, i):
            square[k] = square[i]
        before = i
        still = False
    for k in range(before + 1, moves + 1):
        square[k] = 0.0
    for i in range(moves - 1, -1, -1):
        square[i] = min(square[i], square[i + 1] + 2 * acceleration * length[i])
    seconds = np.zeros(moves)
    for i in range(moves):
        square[i + 1] = min(square[i + 1], square[i] + 2 * acceleration * length[i])
        if length[i] == 0:
            continue
        peak = min(speed[i] ** 2, acceleration * length[i] + 0.5 * (square[i] + square[i + 1]))
        top = np.sqrt(peak)
        ramps = (2 * top - np.sqrt(square[i]) - np.sqrt(square[i + 1])) / acceleration
        cruise = length[i] - (2 * peak - square[i] - square[i + 1]) / (2 * acceleration)
        seconds[i] = ramps + max(0.0, cruise) / top
    return seconds
