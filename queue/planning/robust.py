"""Robust regression with a prior: a few runs move the default a little, many replace it, wild ones are set aside.

Residuals follow Student's t distribution with a few degrees of freedom, fitted by expectation maximisation (Lange,
Little and Taylor, Robust statistical modeling using the t distribution, J. Am. Stat. Assoc. 84, 881-896, 1989; from
memory); coefficients have normal priors, the scale a prior worth a number of runs. About one run in five
may be wild before the line follows them (1 / (degrees of freedom + 1), same source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

HEAVY_TAILS = 4.0  # degrees of freedom of residuals: one in twenty-five lies beyond three scales
_ROUNDS = 60
_SETTLED = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """What is believed before any run: means and covariance (k, k) of the coefficients, and the scale of residuals,
    which counts as much as ``scale_runs`` runs."""

    mean: FloatArray
    covariance: FloatArray
    scale: float
    scale_runs: float

    @classmethod
    def independent(cls, mean: Sequence[float], sd: Sequence[float], scale: float, scale_runs: float) -> Prior:
        """Coefficients that say nothing of each other."""
        return cls(np.array(mean, dtype=np.float64), np.diag(np.square(sd)), scale, scale_runs)

    @property
    def pull(self) -> FloatArray:
        """Inverse of the covariance."""
        return np.asarray(np.linalg.inv(self.covariance), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """coefficients (k,), covariance (k, k), scale of residuals, weights (n,) of the runs (about 1; near 0 for one set
    aside), and the degrees of freedom with which intervals are to be made."""

    coefficients: FloatArray
    covariance: FloatArray
    scale: float
    weights: FloatArray
    freedom: float

    def half_width(self, direction: Sequence[float], share: float) -> float:
        """Half the width of the interval that holds ``direction @ coefficients`` with probability ``share``."""
        along = np.asarray(direction, dtype=np.float64)
        sd = float(np.sqrt(along @ self.covariance @ along))
        return _quantile(0.5 + share / 2, self.freedom) * sd

    @property
    def residual_sd(self) -> float:
        """Standard deviation of one residual in the fit's own units."""
        return self.scale * float(np.sqrt(HEAVY_TAILS / (HEAVY_TAILS - 2)))


@lru_cache(maxsize=1024)
def _quantile(share: float, freedom: float) -> float:
    """Of Student's t; remembered, since a plan asks for the same few thousands of times."""
    from scipy import special  # 25 MB: only where it is asked for

    return float(special.stdtrit(freedom, share))


def fit(rows: FloatArray, values: FloatArray, prior: Prior) -> Fit:
    """Fit ``values`` (n,) = ``rows`` (n, k) @ coefficients + scale x residual; n may be 0."""
    mean, pull = prior.mean, prior.pull
    coefficients: FloatArray = mean.copy()
    square = prior.scale**2
    weights = np.ones(len(values))
    for _ in range(_ROUNDS):
        residual = values - rows @ coefficients
        weights = (HEAVY_TAILS + 1) / (HEAVY_TAILS + np.square(residual) / square)
        weighted = rows * (weights / square)[:, None]
        wanted = weighted.T @ values + pull @ mean
        following = np.asarray(np.linalg.solve(weighted.T @ rows + pull, wanted), dtype=np.float64)
        residual = values - rows @ following
        believed = prior.scale_runs * prior.scale**2
        square = (believed + float(weights @ np.square(residual))) / (prior.scale_runs + len(values))
        settled = np.abs(following - coefficients).max() < _SETTLED
        coefficients = following
        if settled:
            break
    # expected information of the t distribution: (v + 1) / (v + 3) of the normal one's
    information = (HEAVY_TAILS + 1) / (HEAVY_TAILS + 3) * (rows.T @ rows) / square
    covariance = np.asarray(np.linalg.inv(information + pull), dtype=np.float64)
    return Fit(coefficients, covariance, float(np.sqrt(square)), weights, prior.scale_runs + len(values))
