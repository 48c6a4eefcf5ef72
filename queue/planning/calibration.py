"""What a printer's finished runs say about its estimates: a factor, fixed minutes, grams, spread and drift.

actual = factor x estimate + fixed + scatter, per printer and material. Scatter grows with the length of a run, short
runs scatter by more of their length. The fit is robust (a run whose end was noted late is set aside) and shrunk toward
the default while runs are few: see ``planning.robust``. Drift is told by a cumulative sum of one-step-ahead residuals
(Page, Continuous inspection schemes, Biometrika 41, 100-115, 1954; limits k = 0.5, h = 5 as in handbooks of quality
control; from memory). An estimate never saw a real printer: only this closes the gap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from planning.robust import Fit, FloatArray, Prior, fit

INTERVAL_SHARE = 0.9
NEWEST_RUNS = 60  # older runs say little about the printer of today
_HOUR_S = 3600.0
_SHORT_H = 0.5  # below this length a run's scatter no longer shrinks with it
_DRIFT_SLACK, _DRIFT_LIMIT = 0.5, 5.0  # in standard deviations; one false alarm in about 465 runs
_DRIFT_CLIP = 2.5  # one wild run alone is no drift
_NORMAL_90 = 1.645  # standard deviations that hold 90 % of a normal distribution
_DRIFT_RUNS = 12  # an older alarm has been learned from


@dataclass(frozen=True, slots=True)
class FinishedRun:
    """One finished run, oldest first in a history: estimate and actual time, and grams if it was weighed."""

    estimate_s: float
    actual_s: float
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
    _time: Fit
    _grams: Fit

    def duration(self, estimate_s: float) -> Corrected:
        """The estimate corrected, with its spread."""
        hours = estimate_s / _HOUR_S
        return _corrected(self._time, (hours, 1.0), _weight(hours), _HOUR_S)

    def duration_spread(self, estimate_s: float) -> float:
        """Standard deviation of ln(actual / corrected estimate) of one run, as the forecast takes it."""
        hours = estimate_s / _HOUR_S
        row = np.array([hours, 1.0])
        variance = (self._time.residual_sd * _weight(hours)) ** 2 + float(row @ self._time.covariance @ row)
        mean = max(float(row @ self._time.coefficients), 0.05 * hours)
        return math.sqrt(math.log1p(variance / mean**2))

    def grams(self, estimate_g: float) -> Corrected:
        """Estimated grams corrected, with their spread."""
        return _corrected(self._grams, (estimate_g,), estimate_g)


def calibrate(runs: Sequence[FinishedRun], default: Default | None = None) -> Calibration:
    """Learn from ``runs``, oldest first; of more than NEWEST_RUNS only the newest count."""
    believed = default or Default()
    first = max(0, len(runs) - NEWEST_RUNS)
    newest = runs[first:]
    rows, values = _time_rows(newest)
    prior = _time_prior(believed)
    time = fit(rows, values, prior)
    grams, weighed = _grams_fit(newest, believed)
    factor, fixed_h = time.coefficients
    return Calibration(
        factor=float(factor),
        factor_interval=_interval(time, (1.0, 0.0)),
        fixed_s=float(fixed_h) * _HOUR_S,
        fixed_interval_s=Interval(*(_HOUR_S * end for end in _interval(time, (0.0, 1.0)))),
        grams_factor=float(grams.coefficients[0]),
        grams_interval=_interval(grams, (1.0,)),
        runs=len(newest),
        weighed=weighed,
        set_aside=tuple(int(k) + first for k in np.flatnonzero(time.weights < 0.25)),
        _time=time,
        _grams=grams,
    )


def find_drift(runs: Sequence[FinishedRun], default: Default | None = None) -> Drift | None:
    """Whether the newest of ``runs``, oldest first, depart from what the runs before them foretold: the last alarm of
    a two-sided cumulative sum, if it is recent. None while runs go on as they did."""
    first = max(0, len(runs) - NEWEST_RUNS)
    rows, values = _time_rows(runs[first:])
    prior = _time_prior(default or Default())
    up = down = 0.0
    up_since = down_since = 0
    found: tuple[int, int] | None = None
    for k in range(len(values)):
        before = fit(rows[:k], values[:k], prior)
        ahead = float(values[k] - rows[k] @ before.coefficients)
        sd = math.sqrt(before.residual_sd**2 + float(rows[k] @ before.covariance @ rows[k]))
        step = min(max(ahead / sd, -_DRIFT_CLIP), _DRIFT_CLIP)
        up_since, down_since = (k if up == 0 else up_since), (k if down == 0 else down_since)
        up, down = max(0.0, up + step - _DRIFT_SLACK), max(0.0, down - step - _DRIFT_SLACK)
        if max(up, down) > _DRIFT_LIMIT:
            found = (up_since if up > down else down_since, k)
            up = down = 0.0
    if found is None or found[1] < len(values) - _DRIFT_RUNS:
        return None
    since = found[0]
    before = fit(rows[:since], values[:since], prior)
    told = rows[since:] @ before.coefficients
    return Drift(first + since, float(np.median(values[since:] / told)) - 1)


def _time_prior(believed: Default) -> Prior:
    fixed = (believed.fixed_s / _HOUR_S, believed.fixed_sd_s / _HOUR_S)
    return Prior((believed.factor, fixed[0]), (believed.factor_sd, fixed[1]), believed.spread, believed.spread_runs)


def _weight(hours: float) -> float:
    """By how many hours, times the spread, a run of this length scatters."""
    return math.hypot(hours, _SHORT_H)


def _time_rows(runs: Sequence[FinishedRun]) -> tuple[FloatArray, FloatArray]:
    """Rows (n, 2) and values (n,) in hours, each divided by its scatter."""
    estimate = np.array([run.estimate_s for run in runs]) / _HOUR_S
    actual = np.array([run.actual_s for run in runs]) / _HOUR_S
    weight = np.hypot(estimate, _SHORT_H)
    return np.stack([estimate / weight, 1 / weight], axis=1), actual / weight


def _grams_fit(runs: Sequence[FinishedRun], believed: Default) -> tuple[Fit, int]:
    pairs = [(run.estimate_g, run.actual_g) for run in runs if run.estimate_g is not None and run.actual_g is not None]
    shares = np.array([actual / estimate for estimate, actual in pairs])
    prior = Prior((believed.grams_factor,), (believed.grams_factor_sd,), believed.grams_spread, believed.spread_runs)
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
