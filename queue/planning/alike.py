"""What other printers of a kind say about one that has few runs of its own.

A printer's factor and fixed minutes scatter about those of its kind, and those about the default: two levels of normal
distributions (A. Gelman et al., Bayesian data analysis, chapter 5; from memory). How far printers of one kind lie
apart is assumed (BETWEEN; common practice, no source): a room has too few of a kind to tell. The printer itself is not
among ``others``, so that no run counts twice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from planning.calibration import Beliefs, Calibration, Default
from planning.robust import Fit, Prior

BETWEEN_FACTOR = 0.07
BETWEEN_FIXED_S = 120.0
BETWEEN_GRAMS = 0.03


def beliefs_from(others: Sequence[Calibration], default: Default | None = None) -> Beliefs:
    """What to believe of a printer before its own runs, from ``others`` of its kind, each calibrated by itself with
    the same ``default``. Without any it is the default."""
    start = (default or Default()).beliefs()
    timed = [(other.time_fit, other.runs) for other in others if other.runs]
    weighed = [(other.grams_fit, other.weighed) for other in others if other.weighed]
    return Beliefs(
        _combined(timed, start.time, (BETWEEN_FACTOR, BETWEEN_FIXED_S / 3600)),
        _combined(weighed, start.grams, (BETWEEN_GRAMS,)),
    )


def _combined(found: Sequence[tuple[Fit, int]], start: Prior, between_sd: Sequence[float]) -> Prior:
    """Each fit says with J, its own information without the prior's, what its printer is like; of the kind it says
    (J^-1 + T)^-1 = (I + J T)^-1 J, also where J cannot be inverted (all runs of one length)."""
    if not found:
        return start
    between = np.diag(np.square(between_sd))
    information = start.pull
    score = information @ start.mean
    unit = np.eye(len(start.mean))
    for fit, _runs in found:
        whole = np.linalg.inv(fit.covariance)
        own = whole - start.pull
        own_score = whole @ fit.coefficients - start.pull @ start.mean
        damped = np.linalg.inv(unit + own @ between)
        information = information + damped @ own
        score = score + damped @ own_score
    covariance = np.linalg.inv((information + information.T) / 2)
    return Prior(covariance @ score, covariance + between, _scale(found, start), start.scale_runs)


def _scale(found: Sequence[tuple[Fit, int]], start: Prior) -> float:
    """The scatter of all runs together, and of the default as if it were ``scale_runs`` more."""
    believed = start.scale_runs * start.scale**2
    squares = sum((start.scale_runs + runs) * fit.scale**2 - believed for fit, runs in found)
    return math.sqrt(max(believed + squares, 0.1 * believed) / (start.scale_runs + sum(runs for _fit, runs in found)))
