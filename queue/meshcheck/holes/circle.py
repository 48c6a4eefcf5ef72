"""Circles, ellipses and largest inscribed circles of points in a plane."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.types import FloatArray

GAUSS_NEWTON_STEPS, SETTLED_SHARE = 5, 1e-12
GOLDEN, SECTIONS = 0.6180339887498949, 24
MOVES_MOST = 0.5  # how far the largest circle may stand from the middle, in radii


def plane_basis(axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors that make a right-handed frame with the unit vector ``axis``."""
    x, y, z = (float(part) for part in axis)
    least = min(range(3), key=lambda k: abs(axis[k]))
    u = np.array(((0.0, z, -y), (-z, 0.0, x), (y, -x, 0.0))[least])  # the cross product with that unit vector
    u = u / np.sqrt(u @ u)
    a, b, c = (float(part) for part in u)
    return u, np.array((y * c - z * b, z * a - x * c, x * b - y * a))


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
        if np.abs(step).max() < SETTLED_SHARE * radius:
            break
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


def inscribed_circle(corners: FloatArray, centre: FloatArray) -> tuple[FloatArray, float]:
    """The largest circle inside the polygon of ``corners`` (k, 2), anticlockwise about ``centre``: middle, radius.

    About the centre itself when all sides stand equally far; else (a flat, a stretched hole) it may move.
    """
    following = np.roll(corners, -1, axis=0)
    along = following - corners
    length = np.hypot(along[:, 0], along[:, 1])
    outward = np.column_stack([along[:, 1], -along[:, 0]])[length > 0] / length[length > 0][:, None]
    reach = (outward * (corners[length > 0] - centre)).sum(axis=1)
    if len(reach) < 3 or reach.min() <= 0:
        return centre, 0.0
    if np.ptp(reach) < 1e-3 * reach.max():
        return centre, float(reach.min())
    return largest_circle(np.column_stack([corners, following]), centre)


def largest_circle(sides: FloatArray, start: FloatArray) -> tuple[FloatArray, float]:
    """Middle (2,) and radius of the largest circle near ``start`` that crosses none of the ``sides`` (k, 4), each
    x, y of both ends.

    The distance from the nearest side is concave inside a convex outline, so sections along x of sections along y find
    its peak to 1e-5 of the radius; beside a keyway the circle hardly moves, and never does worse than at the start.
    """
    if not len(sides):
        return start, 0.0
    x, y, radius = _best_middle(np.ascontiguousarray(sides), float(start[0]), float(start[1]))
    return np.array([x, y]), float(radius)


@njit(cache=True, nogil=True)
def _clearance(sides, x, y):  # type: ignore[no-untyped-def]
    """Distance of a point from the nearest side."""
    best = np.inf
    for i in range(sides.shape[0]):
        ax, ay = sides[i, 0] - x, sides[i, 1] - y
        dx, dy = sides[i, 2] - sides[i, 0], sides[i, 3] - sides[i, 1]
        square = dx * dx + dy * dy
        t = 0.0 if square <= 0 else min(max(-(ax * dx + ay * dy) / square, 0.0), 1.0)
        px, py = ax + t * dx, ay + t * dy
        best = min(best, px * px + py * py)
    return np.sqrt(best)


@njit(cache=True, nogil=True)
def _best_along_y(sides, x, middle, reach):  # type: ignore[no-untyped-def]
    """Golden sections along y within ``reach`` of ``middle``: the best y and its clearance."""
    low, high = middle - reach, middle + reach
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_a, at_b = _clearance(sides, x, a), _clearance(sides, x, b)
    for _ in range(SECTIONS):
        if at_a > at_b:
            high, b, at_b = b, a, at_a
            a = high - GOLDEN * (high - low)
            at_a = _clearance(sides, x, a)
        else:
            low, a, at_a = a, b, at_b
            b = low + GOLDEN * (high - low)
            at_b = _clearance(sides, x, b)
    return (a, at_a) if at_a > at_b else (b, at_b)


@njit(cache=True, nogil=True)
def _best_middle(sides, x, y):  # type: ignore[no-untyped-def]
    """Golden sections along x, each with the best y for that x; the start itself where nothing is better."""
    start = _clearance(sides, x, y)
    reach = MOVES_MOST * start
    low, high = x - reach, x + reach
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    y_a, at_a = _best_along_y(sides, a, y, reach)
    y_b, at_b = _best_along_y(sides, b, y, reach)
    for _ in range(SECTIONS):
        if at_a > at_b:
            high, b, y_b, at_b = b, a, y_a, at_a
            a = high - GOLDEN * (high - low)
            y_a, at_a = _best_along_y(sides, a, y, reach)
        else:
            low, a, y_a, at_a = a, b, y_b, at_b
            b = low + GOLDEN * (high - low)
            y_b, at_b = _best_along_y(sides, b, y, reach)
    if max(at_a, at_b) <= start:
        return x, y, start
    return (a, y_a, at_a) if at_a > at_b else (b, y_b, at_b)
