"""How far material reaches around a bore: rays from its wall outward."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.types import FloatArray

ANGLES, HEIGHTS = 90, 5
TURN_RAD = 0.0123  # off planes of symmetry
KEEP_OFF = 0.8  # of the half depth: heights stay away from chamfers at the ends


def outside_radii(faces: FloatArray, bore_radius_mm: float, half_depth_mm: float) -> FloatArray:
    """Distance from the axis (z) at which rays outward first leave the material around a bore, for ``ANGLES`` times
    ``HEIGHTS`` rays; NaN where there is none. ``faces`` (m, 3, 3) with the middle of the bore at the origin."""
    angles = np.arange(ANGLES) * 2 * np.pi / ANGLES + TURN_RAD
    heights = np.linspace(-KEEP_OFF, KEEP_OFF, HEIGHTS) * half_depth_mm + 1e-4 * half_depth_mm
    z = faces[:, :, 2]
    crossing = (z.min(axis=1)[:, None] <= heights) & (z.max(axis=1)[:, None] >= heights)
    rows = [
        _first_exits(np.ascontiguousarray(faces[crossing[:, k]]), float(height), angles, 1.02 * bore_radius_mm)
        for k, height in enumerate(heights)
    ]
    return np.concatenate(rows)


@njit(cache=True, nogil=True)
def _first_exits(faces, height, angles, beyond):  # type: ignore[no-untyped-def]
    """Nearest crossing of each horizontal ray with a face, beyond a radius."""
    out = np.full(angles.size, np.nan)
    ends = np.empty((2, 2))
    for f in range(faces.shape[0]):
        found = 0
        for k in range(3):
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            if (a[2] >= height) != (b[2] >= height) and found < 2:
                share = (height - a[2]) / (b[2] - a[2])
                ends[found, 0] = a[0] + share * (b[0] - a[0])
                ends[found, 1] = a[1] + share * (b[1] - a[1])
                found += 1
        if found < 2:
            continue
        dx, dy = ends[1, 0] - ends[0, 0], ends[1, 1] - ends[0, 1]
        for r in range(angles.size):
            c, s = np.cos(angles[r]), np.sin(angles[r])
            first = ends[0, 0] * s - ends[0, 1] * c
            second = ends[1, 0] * s - ends[1, 1] * c
            if (first >= 0) == (second >= 0):
                continue
            share = first / (first - second)
            reach = (ends[0, 0] + share * dx) * c + (ends[0, 1] + share * dy) * s
            if reach > beyond and not reach >= out[r]:
                out[r] = reach
    return out
