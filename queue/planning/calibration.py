"""What a printer's finished runs say about its estimates: a factor, fixed minutes, grams, spread and drift.

actual = factor x estimate + fixed + scatter, per printer and material. Scatter grows with the length of a run, short
runs scatter by more of their length. The fit is robust (a run whose end was noted late is set aside) and shrunk toward
the default while runs are few: see ``planning.robust``; where other printers of the kind have runs, toward those: see
``planning.alike``. Drift is told by a cumulative sum of one-step-ahead residuals: see ``planning.drift``. An estimate
never saw a real printer: only this closes the gap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from planning.drift import alarms
from planning.robust import Fit, FloatArray, Prior, fit

INTERVAL_SHARE = 0.9
NEWEST_RUNS = 60  # older runs say little about the printer of today
_HOUR_S = 3600.0
_SHORT_H = 0.5  # below this length a run's scatter no longer shrinks with it
_NORMAL_90 = 1.645  # standard deviations that hold 90 % of a normal distribution
_DRIFT_RUNS = 12  # an older alarm has been learned from


@dataclass(frozen=True, slots=True)
class FinishedRun:
    """One finished run, oldest first in a history: estimate and actual time (None: nobody saw it end), and grams if it
    was weighed."""

    estimate_s: float
    actual_s: float | None
    estimate_g: float | None = None
    actual_g: float | None = None

    def __post_init__(self) -> None:
        given = (self.estimate_s, self.actual_s, self.estimate_g, self.actual_g)
        if not all(math.isfinite(value) and value > 0 for value in given if value is not None):
            raise ValueError("times and grams of a finished run must be above zero")


@dataclass(frozen=True, slots=True)
class Default:
    """What is believed of a printer without runs (common practice, no source). ``spread`` is the share by which a run
    of an hour or more scatters; it counts as much as ``spread_runs`` runs."""

    factor: float = 1.0
    factor_sd: float = 0.2
    fixed_s: float = 0.0
    fixed_sd_s: float = 300.0
    spread: float = 0.06
    spread_runs: float = 4.0
    grams_factor: float = 1.0
    grams_factor_sd: float = 0.1
    grams_spread: float = 0.04

    def beliefs(self) -> Beliefs:
        """The same as priors of the two fits."""
        fixed, fixed_sd = self.fixed_s / _HOUR_S, self.fixed_sd_s / _HOUR_S
        return Beliefs(
            Prior.independent((self.factor, fixed), (self.factor_sd, fixed_sd), self.spread, self.spread_runs),
            Prior.independent((self.grams_factor,), (self.grams_factor_sd,), self.grams_spread, self.spread_runs),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Beliefs:
    """Priors of a printer: ``time`` for factor and fixed hours, ``grams`` for the factor of grams."""

    time: Prior
    grams: Prior


class Interval(NamedTuple):
    """Holds the truth in INTERVAL_SHARE of all cases."""

    low: float
    high: float

    def __contains__(self, value: object) -> bool:
        return isinstance(value, int | float) and self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Drift:
    """Runs take longer (share above zero) or shorter than the runs before them foretold, since ``since_run`` (counted
    from 0 in the history given); ``share`` is how much, the median of those runs."""

    since_run: int
    share: float


@dataclass(frozen=True, slots=True)
class Corrected:
    """An estimate corrected. ``mean`` lies in ``interval``; one single run lies in ``run`` in INTERVAL_SHARE of all
    cases. In seconds, or in grams."""

    mean: float
    interval: Interval
    run: Interval


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """What is known of one printer with one material. ``set_aside`` are runs (of the history given) that fit nothing
    else."""

    factor: float
    factor_interval: Interval
    fixed_s: float
    fixed_interval_s: Interval
    grams_factor: float
    grams_interval: Interval
    runs: int
    weighed: int
    set_aside: tuple[int, ...]
    time_fit: Fit
    grams_fit: Fit

    @property
    def spread(self) -> float:
        """Standard deviation of a run of an hour or more, as a share of its length."""
        return self.time_fit.residual_sd

    def duration(self, estimate_s: float) -> Corrected:
        """The estimate corrected, with its spread."""
        hours = estimate_s / _HOUR_S
        return _corrected(self.time_fit, (hours, 1.0), _weight(hours), _HOUR_S)

    def duration_spread(self, estimate_s: float) -> float:
        """Standard deviation of ln(actual / corrected estimate) of one run, as the forecast takes it."""
        hours = estimate_s / _HOUR_S
        row = np.array([hours, 1.0])
        variance = (self.time_fit.residual_sd * _weight(hours)) ** 2 + float(row @ self.time_fit.covariance @ row)
        mean = max(float(row @ self.time_fit.coefficients), 0.05 * hours)
        return math.sqrt(math.log1p(variance / mean**2))

    def grams(self, estimate_g: float) -> Corrected:
        """Estimated grams corrected, with their spread."""
        return _corrected(self.grams_fit, (estimate_g,), estimate_g)


def calibrate(runs: Sequence[FinishedRun], default: Default | Beliefs | None = None) -> Calibration:
    """Learn from ``runs``, oldest first; of more than NEWEST_RUNS only the newest count."""
    believed = _beliefs(default)
    newest = runs[-NEWEST_RUNS:]
    at, rows, values = _time_rows(runs)
    time = fit(rows, values, believed.time)
    grams, weighed = _grams_fit(newest, believed.grams)
    factor, fixed_h = time.coefficients
    return Calibration(
        factor=float(factor),
        factor_interval=_interval(time, (1.0, 0.0)),
        fixed_s=float(fixed_h) * _HOUR_S,
        fixed_interval_s=Interval(*(_HOUR_S * end for end in _interval(time, (0.0, 1.0)))),
        grams_factor=float(grams.coefficients[0]),
        grams_interval=_interval(grams, (1.0,)),
        runs=len(at),
        weighed=weighed,
        set_aside=tuple(at[k] for k in np.flatnonzero(time.weights < 0.25)),
        time_fit=time,
        grams_fit=grams,
    )


def find_drift(runs: Sequence[FinishedRun], default: Default | Beliefs | None = None) -> Drift | None:
    """Whether the newest of ``runs``, oldest first, depart from what the runs before them foretold: the last alarm of
    a two-sided cumulative sum, if it is recent. None while runs go on as they did."""
    at, rows, values = _time_rows(runs)
    prior = _beliefs(default).time
    steps = []
    for k in range(len(values)):
        before = fit(rows[:k], values[:k], prior)
        sd = math.sqrt(before.residual_sd**2 + float(rows[k] @ before.covariance @ rows[k]))
        steps.append(float(values[k] - rows[k] @ before.coefficients) / sd)
    found = alarms(steps)
    if not found or found[-1].at < len(values) - _DRIFT_RUNS:
        return None
    since = found[-1].since
    before = fit(rows[:since], values[:since], prior)
    told = rows[since:] @ before.coefficients
    return Drift(at[since], float(np.median(values[since:] / told)) - 1)


def _beliefs(default: Default | Beliefs | None) -> Beliefs:
    return default if isinstance(default, Beliefs) else (default or Default()).beliefs()


def _weight(hours: float) -> float:
    """By how many hours, times the spread, a run of this length scatters."""
    return math.hypot(hours, _SHORT_H)


def _time_rows(runs: Sequence[FinishedRun]) -> tuple[list[int], FloatArray, FloatArray]:
    """Of the newest runs those whose end was seen: their places in ``runs``, and rows (n, 2) and values (n,) in hours,
    each divided by its scatter."""
    seen = [
        (place, run.estimate_s / _HOUR_S, run.actual_s / _HOUR_S)
        for place, run in enumerate(runs)
        if place >= len(runs) - NEWEST_RUNS and run.actual_s is not None
    ]
    estimate = np.array([hours for _place, hours, _actual in seen])
    weight = np.hypot(estimate, _SHORT_H)
    values = np.array([actual for _place, _hours, actual in seen]) / weight
    return [place for place, *_rest in seen], np.stack([estimate / weight, 1 / weight], axis=1), values


def _grams_fit(runs: Sequence[FinishedRun], prior: Prior) -> tuple[Fit, int]:
    pairs = [(run.estimate_g, run.actual_g) for run in runs if run.estimate_g is not None and run.actual_g is not None]
    shares = np.array([actual / estimate for estimate, actual in pairs])
    return fit(np.ones((len(pairs), 1)), shares, prior), len(pairs)


def _interval(found: Fit, direction: tuple[float, ...]) -> Interval:
    mean = float(np.asarray(direction) @ found.coefficients)
    half = found.half_width(direction, INTERVAL_SHARE)
    return Interval(mean - half, mean + half)


def _corrected(found: Fit, row: tuple[float, ...], weight: float, unit: float = 1.0) -> Corrected:
    """``unit`` is what one of the fit's units is in the answer; nothing goes below zero."""
    mean = float(np.asarray(row) @ found.coefficients)
    around = found.half_width(row, INTERVAL_SHARE)
    alone = math.hypot(around, _NORMAL_90 * found.residual_sd * weight)
    interval, run = (Interval(max(0.0, unit * (mean - half)), unit * (mean + half)) for half in (around, alone))
    return Corrected(max(0.0, unit * mean), interval, run)
