"""Values with their uncertainty, and the answer "unknown, because".

Uncertainties are standard uncertainties (one standard deviation) in the unit of the value. They are carried through a
formula to first order: B. N. Taylor and C. E. Kuyatt, NIST Technical Note 1297 (1994), appendix A; effective degrees
of freedom by the Welch-Satterthwaite formula of its appendix B.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

T = TypeVar("T")

CONFIDENCE = 0.95
_STEP_OF_UNCERTAINTY = 1e-3  # small against the uncertainty, large against rounding


@dataclass(frozen=True, slots=True)
class Unknown:
    """A figure that cannot be given, and why, in plain words."""

    because: str


def known(value: T | Unknown) -> T | None:
    """The value, or None when it is an Unknown."""
    return None if isinstance(value, Unknown) else value


@dataclass(frozen=True, slots=True)
class Interval:
    """From ``low`` to ``high`` with the given confidence (0.95: 95 in 100 such intervals hold the true value)."""

    low: float
    high: float
    confidence: float

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Measured:
    """A value, its standard uncertainty, and from how many free differences that uncertainty comes (``df``).

    ``df`` is infinite where the uncertainty is known beforehand (a resolution, a published scatter).
    """

    value: float
    uncertainty: float
    df: float = math.inf

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"a measured value must be a number, not {self.value}")
        if not (math.isfinite(self.uncertainty) and self.uncertainty >= 0):
            raise ValueError(f"an uncertainty cannot be {self.uncertainty}")
        if not self.df > 0:
            raise ValueError(f"degrees of freedom cannot be {self.df}")

    @property
    def relative(self) -> float | Unknown:
        """Uncertainty as a share of the value."""
        if self.value == 0:
            return Unknown("a share of zero says nothing")
        return self.uncertainty / abs(self.value)

    def interval(self, confidence: float = CONFIDENCE) -> Interval:
        """Value +- t(df) uncertainty."""
        half = t_factor(self.df, confidence) * self.uncertainty
        return Interval(self.value - half, self.value + half, confidence)


def exactly(value: float) -> Measured:
    """A value whose uncertainty does not matter here."""
    return Measured(value, 0.0)


def from_resolution(value: float, resolution: float) -> Measured:
    """A single reading of an instrument with steps of ``resolution``: anywhere within half a step is as likely, so the
    standard uncertainty is resolution / sqrt(12) (rectangular distribution, NIST TN 1297 section 4.6)."""
    if resolution < 0:
        raise ValueError("a resolution cannot be negative")
    return Measured(value, resolution / math.sqrt(12))


@lru_cache(maxsize=1024)
def t_factor(df: float, confidence: float = CONFIDENCE) -> float:
    """How many standard uncertainties an interval reaches to each side: Student's t, two-sided."""
    from scipy import special  # 25 MB: only where it is asked for

    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")
    if not df > 0:
        raise ValueError(f"degrees of freedom must be above 0, not {df}")
    at = (1 + confidence) / 2
    return float(special.ndtri(at) if math.isinf(df) else special.stdtrit(df, at))


def propagated(formula: Callable[..., float], inputs: Sequence[Measured]) -> Measured:
    """``formula`` of the input values, with the uncertainty the independent inputs give it.

    u^2 = sum of (df/dx_i u_i)^2, the slopes taken by central differences over a thousandth of each uncertainty
    (relative error about 1e-6 for the formulas here). An input that moves nothing adds nothing.
    ``formula`` must give finite values close to the inputs, or ValueError.
    """
    values = [each.value for each in inputs]
    parts: list[tuple[float, float]] = []
    for number, each in enumerate(inputs):
        if each.uncertainty == 0:
            continue
        # uncertainties far below the value's own rounding would only measure that rounding
        step = max(_STEP_OF_UNCERTAINTY * each.uncertainty, 1e-7 * abs(each.value))
        up, down = (_with(values, number, each.value + way * step) for way in (1, -1))
        slope = (formula(*up) - formula(*down)) / (2 * step)
        parts.append((slope * each.uncertainty, each.df))
    total = math.hypot(*(part for part, _ in parts))
    return Measured(formula(*values), total, effective_df(parts))


def effective_df(parts: Sequence[tuple[float, float]]) -> float:
    """Welch-Satterthwaite: degrees of freedom of a sum of independent parts (uncertainty, df). Infinite when nothing
    but known uncertainties remains."""
    total = math.hypot(*(part for part, _ in parts))
    if total == 0:
        return math.inf
    inverse = sum((part / total) ** 4 / df for part, df in parts)
    return 1 / inverse if inverse > 0 else math.inf


def _with(values: list[float], number: int, value: float) -> list[float]:
    return [*values[:number], value, *values[number + 1 :]]
