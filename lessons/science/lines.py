"""Straight lines: between two measured loads, and fitted through several, with what they can and cannot predict.

Ordinary least squares with standard errors as in the NIST/SEMATECH e-Handbook, section 4.4, checked against the
certified values of NIST StRD; uncertainties of the interpolation by NIST TN 1297, appendix A.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessons.science.values import CONFIDENCE, Interval, Measured, Unknown, propagated

FEWEST_POINTS = 3  # two points lie on a line whatever they are


@dataclass(frozen=True, slots=True)
class Point:
    """One load and what was measured with it, each with its uncertainty."""

    x: Measured
    y: Measured


@dataclass(frozen=True, slots=True)
class Prediction:
    """What the line between two points says at ``x``. ``outside`` when x does not lie between them: then the line is
    carried on where nobody has looked."""

    x: float
    y: Measured
    slope: Measured
    outside: bool


def predict_between(first: Point, second: Point, x: Measured) -> Prediction | Unknown:
    """Read the line through two points at ``x``.

    y = y1 + (y2 - y1) (x - x1) / (x2 - x1), with the uncertainties of all five carried through. The uncertainty is
    that of the line; how far a true curve bends away from it is not in it.
    """
    x1, x2 = first.x.value, second.x.value
    if x1 == x2:
        return Unknown("both tests were made with the same load, so there is no line between them")
    y = propagated(_on_line, [first.x, first.y, second.x, second.y, x])
    slope = propagated(lambda a, b, c, d: (d - b) / (c - a), [first.x, first.y, second.x, second.y])
    return Prediction(x.value, y, slope, outside=not min(x1, x2) <= x.value <= max(x1, x2))


def _on_line(x1: float, y1: float, x2: float, y2: float, x: float) -> float:
    return y1 + (y2 - y1) * (x - x1) / (x2 - x1)


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope x, fitted through ``n`` points.

    ``slope`` and ``intercept`` carry their standard errors; ``residual_sd`` is the scatter about the line with
    ``df`` = n - 2 (of a weighted line in units of the bars). ``centre`` is the weighted mean of x and y, ``sxx`` the
    weighted sum of squares of x about it. ``r_squared`` is Unknown when all y are the same. ``known_bars`` says that
    the errors come from the bars of the points, not from their scatter.
    """

    n: int
    slope: Measured
    intercept: Measured
    residual_sd: float
    r_squared: float | Unknown
    df: int
    centre: tuple[float, float]
    sxx: float
    weight: float
    known_bars: bool
    chi_squared: float
    lowest_x: float
    highest_x: float

    def outside(self, x: float) -> bool:
        """Whether x lies beyond the points the line was fitted through."""
        return not self.lowest_x <= x <= self.highest_x

    def at(self, x: float) -> Measured:
        """The line itself at x: where the mean of many readings would lie."""
        mean_x, mean_y = self.centre
        error = self._unit * math.sqrt(1 / self.weight + (x - mean_x) ** 2 / self.sxx)
        return Measured(mean_y + self.slope.value * (x - mean_x), error, self._error_df)

    def new_reading_at(self, x: float, bar: float | None = None) -> Measured:
        """One more reading at x: the line's uncertainty and the scatter of one reading.

        ``bar`` is the standard uncertainty of that reading; needed for a weighted line, else the scatter about the
        line is taken.
        """
        line = self.at(x)
        if bar is None:
            if self.known_bars:
                raise ValueError("a line with known bars needs the bar of the new reading")
            bar = self.residual_sd
        return Measured(line.value, math.hypot(line.uncertainty, bar), line.df)

    def slope_interval(self, confidence: float = CONFIDENCE) -> Interval:
        return self.slope.interval(confidence)

    def intercept_interval(self, confidence: float = CONFIDENCE) -> Interval:
        return self.intercept.interval(confidence)

    def band_at(self, x: float, confidence: float = CONFIDENCE) -> Interval:
        """Interval of the line at x."""
        return self.at(x).interval(confidence)

    def prediction_interval(self, x: float, confidence: float = CONFIDENCE, bar: float | None = None) -> Interval:
        """Where one more reading at x is to be expected."""
        return self.new_reading_at(x, bar).interval(confidence)

    @property
    def straight_enough(self) -> bool | Unknown:
        """Whether the bars allow a straight line: chi-squared at most its 95 % point. Only bars known beforehand can
        tell."""
        from scipy import special  # 25 MB: only where it is asked for

        if not self.known_bars:
            return Unknown("without bars known beforehand the scatter cannot be told from a bend")
        return self.chi_squared <= float(special.chdtri(self.df, 0.05))

    @property
    def _unit(self) -> float:
        return 1.0 if self.known_bars else self.residual_sd

    @property
    def _error_df(self) -> float:
        return math.inf if self.known_bars else self.df


def fit_line(x: Sequence[float], y: Sequence[float]) -> Line | Unknown:
    """Least-squares line through n points of equal weight; errors from the scatter about the line, n - 2 df."""
    return _fit(x, y, np.ones(len(x)), known_bars=False)


def fit_weighted_line(
    x: Sequence[float], y: Sequence[float], bars: Sequence[float], known_bars: bool = True
) -> Line | Unknown:
    """Least-squares line with weights 1 / bar^2, ``bars`` the standard uncertainties of y.

    With ``known_bars`` the errors come from the bars alone (infinite df). Otherwise the bars only say which points
    count more, and the errors come from the scatter about the line.
    """
    if len(bars) != len(x):
        raise ValueError(f"{len(x)} points need as many bars, not {len(bars)}")
    weights = np.asarray(bars, np.float64)
    if not (np.isfinite(weights).all() and (weights > 0).all()):
        raise ValueError("every bar must be above 0; a point without uncertainty would outweigh all others")
    return _fit(x, y, weights**-2, known_bars)


def _fit(x: Sequence[float], y: Sequence[float], weights: NDArray[np.float64], known_bars: bool) -> Line | Unknown:
    xs, ys = np.asarray(x, np.float64), np.asarray(y, np.float64)
    if len(xs) != len(ys):
        raise ValueError(f"{len(xs)} values of x need as many of y, not {len(ys)}")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise ValueError("every point must have finite numbers")
    n = len(xs)
    if n < FEWEST_POINTS:
        return Unknown(f"a fitted line needs at least {FEWEST_POINTS} points, here are {n}")
    total = float(weights.sum())
    mean_x, mean_y = float(weights @ xs) / total, float(weights @ ys) / total
    dx, dy = xs - mean_x, ys - mean_y  # about the middle: large offsets would eat the digits
    sxx, sxy, syy = float(weights @ dx**2), float(weights @ (dx * dy)), float(weights @ dy**2)
    if float(np.ptp(xs)) <= 1e-12 * float(np.abs(xs).max()):
        return Unknown("all points have the same load, so no slope can be fitted")
    slope = sxy / sxx
    # what rounding alone leaves is no scatter
    rounding = total * (1e-14 * float(np.abs(ys).max())) ** 2
    chi_squared = _or_zero(float(weights @ (dy - slope * dx) ** 2), rounding)
    df = n - 2
    residual_sd = math.sqrt(chi_squared / df)
    unit, error_df = (1.0, math.inf) if known_bars else (residual_sd, float(df))
    return Line(
        n=n,
        slope=Measured(slope, unit / math.sqrt(sxx), error_df),
        intercept=Measured(mean_y - slope * mean_x, unit * math.sqrt(1 / total + mean_x**2 / sxx), error_df),
        residual_sd=residual_sd,
        r_squared=1 - chi_squared / syy if _or_zero(syy, rounding) else Unknown("all readings are the same"),
        df=df,
        centre=(mean_x, mean_y),
        sxx=sxx,
        weight=total,
        known_bars=known_bars,
        chi_squared=chi_squared,
        lowest_x=float(xs.min()),
        highest_x=float(xs.max()),
    )


def _or_zero(value: float, rounding: float) -> float:
    return value if value > rounding else 0.0


def t_of_slope(line: Line) -> tuple[float, float] | Unknown:
    """t and two-sided p of the slope against none at all: does the load change anything?"""
    from scipy import special  # 25 MB: only where it is asked for

    if line.slope.uncertainty == 0:
        return Unknown("the points lie exactly on a line: their scatter hides in the steps of the instruments")
    t = line.slope.value / line.slope.uncertainty
    p = 2 * float(special.ndtr(-abs(t)) if line.known_bars else special.stdtr(line.df, -abs(t)))
    return t, p
