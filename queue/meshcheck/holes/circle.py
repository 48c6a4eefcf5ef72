"""Circles, ellipses and largest inscribed circles of points in a plane."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from meshcheck.types import FloatArray

GAUSS_NEWTON_STEPS = 5


def plane_basis(axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors that make a right-handed frame with the unit vector ``axis``."""
    away = np.eye(3)[np.argmin(np.abs(axis))]
    u = np.cross(axis, away)
    u = u / np.linalg.norm(u)
    return u, np.cross(axis, u)


def fit_circle(points: FloatArray) -> tuple[FloatArray, float]:
    """Centre (2,) and radius of the circle with the least squared distances to ``points`` (n, 2), n >= 3.

    The algebraic fit (least squares of x^2 + y^2 + a x + b y + c) starts Gauss-Newton steps on the true distances.
    """
    middle = points.mean(axis=0)
    q = points - middle
    squares = (q * q).sum(axis=1)
    solved = np.linalg.lstsq(np.column_stack([2 * q, np.ones(len(q))]), squares, rcond=None)[0]
    centre, radius = solved[:2], float(np.sqrt(max(solved[2] + solved[:2] @ solved[:2], 0.0)))
    for _ in range(GAUSS_NEWTON_STEPS):
        d = q - centre
        r = np.hypot(d[:, 0], d[:, 1])
        slopes = np.column_stack([d / np.where(r > 0, r, 1.0)[:, None], np.ones(len(r))])
        step = np.linalg.lstsq(slopes, r - radius, rcond=None)[0]
        centre, radius = centre + step[:2], radius + float(step[2])
    return middle + centre, radius


def fit_ellipse(points: FloatArray) -> tuple[float, float, float] | None:
    """Smallest and largest diameter of the ellipse through ``points`` (n, 2), n >= 5, and the root mean square
    of what it leaves, in mm; None when the points lie on no ellipse."""
    middle, size = points.mean(axis=0), points.std()
    x, y = ((points - middle) / size).T
    terms = np.column_stack([x * x, x * y, y * y, x, y])
    a, b, c, d, e = np.linalg.lstsq(terms, np.ones(len(x)), rcond=None)[0]
    form = np.array([[a, b / 2], [b / 2, c]])
    if np.linalg.det(form) <= 0:
        return None
    centre = -0.5 * np.linalg.solve(form, [d, e])
    form = form / (1 + centre @ form @ centre)
    values, vectors = np.linalg.eigh(form)
    if values[0] <= 0:
        return None
    along = (np.column_stack([x, y]) - centre) @ vectors * np.sqrt(values)
    left = (np.hypot(along[:, 0], along[:, 1]) - 1) / np.sqrt(values.mean()) * size
    widths = 2 * size / np.sqrt(values[::-1])
    return float(widths[0]), float(widths[1]), float(np.sqrt((left**2).mean()))


def uneven_free_radius(wall: FloatArray, corners: FloatArray, centre: FloatArray, step_rad: float) -> float:
    """A radius about ``centre`` that surely passes an uneven hole.

    The innermost of all points of the ``wall`` (n, 2), the innermost of its ``corners`` (k, 2) less the sag of a
    side of ``step_rad``, or what a wider gap between points may leave, whichever comes nearest.
    """
    d = wall - centre
    angle = np.arctan2(d[:, 1], d[:, 0])
    order = np.argsort(angle)
    radius = np.hypot(d[:, 0], d[:, 1])
    gap = np.diff(angle[order], append=angle[order[0]] + 2 * np.pi)
    wide = gap > 1.5 * step_rad
    across = np.minimum(radius[order], radius[np.roll(order, -1)])[wide] * np.cos(np.minimum(gap[wide], np.pi) / 2)
    sides = np.hypot(*(corners - centre).T).min() * np.cos(min(step_rad, np.pi) / 2)
    return float(min(radius.min(), sides, across.min(initial=np.inf)))


def inscribed_radius(corners: FloatArray, centre: FloatArray) -> float:
    """Radius of the largest circle inside the polygon of ``corners`` (k, 2), given anticlockwise about ``centre``.

    About the centre itself when all sides stand equally far; else (a flat, a stretched hole) the circle may
    move: the Chebyshev centre of the half-planes, by linear programming.
    """
    following = np.roll(corners, -1, axis=0)
    along = following - corners
    length = np.hypot(along[:, 0], along[:, 1])
    outward = np.column_stack([along[:, 1], -along[:, 0]])[length > 0] / length[length > 0][:, None]
    reach = (outward * (corners[length > 0] - centre)).sum(axis=1)
    if len(reach) < 3 or reach.min() <= 0:
        return 0.0
    if np.ptp(reach) < 1e-3 * reach.max():
        return float(reach.min())
    found = linprog(
        [0, 0, -1], A_ub=np.column_stack([outward, np.ones(len(reach))]), b_ub=reach, bounds=[(None, None)] * 3
    )
    return float(found.x[2]) if found.success else float(reach.min())
