"""A few repeated readings of one thing: mean, scatter, standard error, interval, and when to ask about an odd one.

Sample standard deviation with n - 1 and mean +- t(n - 1) s / sqrt(n): OpenStax Introductory Statistics 2e, section 8.2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from lessons.science.values import CONFIDENCE, Interval, Measured, Unknown, t_factor

FEWEST_TRIALS = 3  # below this a scatter is not worth its name: range only (common practice, no source)


@dataclass(frozen=True, slots=True)
class KnownScatter:
    """How far repeated readings scatter (standard deviation), known from more than the readings at hand.

    ``df`` is infinite for a published figure, and the pooled n - 1 for a class's own.
    """

    sd: float
    source: str
    df: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sd) and self.sd > 0 and self.df > 0):
            raise ValueError("a scatter and its degrees of freedom must be above 0")


# One start and one stop by hand: N(0, 0.10^2) s, from 4304 timekeepers.
HAND_TIMING = KnownScatter(0.10, "Manual timing in physics experiments, Am. J. Phys. 87(2), 110 (2019)")


@dataclass(frozen=True, slots=True)
class Group:
    """What a comparison needs of repeated readings: how many, their mean, their sample standard deviation."""

    n: int
    mean: float
    sd: float

    def __post_init__(self) -> None:
        if self.n < 2:
            raise ValueError("a group needs at least two readings to have a scatter")
        if not (math.isfinite(self.mean) and math.isfinite(self.sd) and self.sd >= 0):
            raise ValueError("mean and standard deviation must be numbers, the latter not negative")

    @property
    def standard_error(self) -> float:
        return self.sd / math.sqrt(self.n)


@dataclass(frozen=True, slots=True)
class RangeOnly:
    """One or two readings: how far apart they lie, and nothing more, because nothing more is known."""

    values: tuple[float, ...]
    low: float
    high: float
    because: str

    @property
    def n(self) -> int:
        return len(self.values)


@dataclass(frozen=True, slots=True)
class Summary:
    """Three or more readings. ``interval`` is of the mean; all in the unit of the readings."""

    values: tuple[float, ...]
    mean: float
    sd: float
    standard_error: float
    interval: Interval
    low: float
    high: float

    @property
    def n(self) -> int:
        return len(self.values)

    @property
    def spread(self) -> float:
        """Largest less smallest."""
        return self.high - self.low

    @property
    def group(self) -> Group:
        return Group(self.n, self.mean, self.sd)

    def measured(self, resolution: float = 0.0) -> Measured:
        """The mean with its standard uncertainty: standard error and the steps of the instrument together.

        The resolution is what keeps three equal readings from claiming no uncertainty at all: resolution / sqrt(12)
        (NIST TN 1297 section 4.6), not divided by sqrt(n), since the same rounding may hit every reading.
        """
        steps = resolution / math.sqrt(12)
        uncertainty = math.hypot(self.standard_error, steps)
        if self.standard_error == 0:
            return Measured(self.mean, uncertainty)
        return Measured(self.mean, uncertainty, (self.n - 1) * (uncertainty / self.standard_error) ** 4)

    def measured_with(self, scatter: KnownScatter) -> Measured:
        """The mean with the uncertainty of a scatter known from elsewhere: sd / sqrt(n). Three readings tell their own
        scatter badly (t = 4.3), a class's or a published one does it better where it applies."""
        return Measured(self.mean, scatter.sd / math.sqrt(self.n), scatter.df)


def summarise(values: Sequence[float], confidence: float = CONFIDENCE) -> Summary | RangeOnly | Unknown:
    """Sum up repeated readings; ValueError when one is not a finite number."""
    readings = _checked(values)
    if not readings:
        return Unknown("nothing has been measured yet")
    low, high = min(readings), max(readings)
    if len(readings) < FEWEST_TRIALS:
        count = "one trial" if len(readings) == 1 else "two trials"
        return RangeOnly(readings, low, high, f"{count}: only the range can be given, take at least {FEWEST_TRIALS}")
    n = len(readings)
    # least and largest bound what rounding may do to the mean of equal readings
    mean = min(max(math.fsum(readings) / n, low), high)
    sd = math.sqrt(math.fsum((each - mean) ** 2 for each in readings) / (n - 1))
    error = sd / math.sqrt(n)
    half = t_factor(n - 1, confidence) * error
    return Summary(readings, mean, sd, error, Interval(mean - half, mean + half, confidence), low, high)


def pooled_scatter(groups: Sequence[Sequence[float]], source: str) -> KnownScatter | Unknown:
    """One scatter for all groups, each about its own mean: sqrt(sum of squares within / sum of (n - 1)).

    This is the residual standard deviation of a one-way analysis of variance. Groups of one reading add nothing.
    """
    within, df = 0.0, 0
    for group in groups:
        readings = _checked(group)
        if len(readings) < 2:
            continue
        mean = math.fsum(readings) / len(readings)
        within += math.fsum((each - mean) ** 2 for each in readings)
        df += len(readings) - 1
    if df == 0:
        return Unknown("nobody has measured anything twice yet")
    if within == 0:
        return Unknown("all repeated readings are the same: the scatter hides in the steps of the instrument")
    return KnownScatter(math.sqrt(within / df), source, df)


class Odd(StrEnum):
    """What looks odd about a set of readings."""

    ONE_FAR = "one_far"
    ALL_APART = "all_apart"


@dataclass(frozen=True, slots=True)
class OutlierQuestion:
    """Something to ask the team about; nothing is ever left out by itself.

    ``index`` is the reading that lies far from the others (None when all lie apart), ``distance`` how far from their
    mean, ``limit`` from where we ask. For ALL_APART both are of the range.
    """

    odd: Odd
    index: int | None
    distance: float
    limit: float
    words: str
    source: str


FALSE_ALARMS = 0.05  # share of sound sets about which we ask all the same


def outlier_question(
    values: Sequence[float], scatter: KnownScatter = HAND_TIMING, unit: str = "s", what: str = "time"
) -> OutlierQuestion | None:
    """Whether to ask: measure again, or keep with a reason? Two readings or more; None when there is nothing to ask.

    Three readings cannot judge themselves (two of them often agree by chance), so they are held against a scatter
    known from elsewhere. Asked is when the reading farthest from the mean of all lies outside
    z(1 - 0.05 / (2 n)) sd sqrt((n - 1) / n): the extreme deviate for known scatter, Bonferroni's bound for n readings,
    so at most 1 sound set in 20 is asked about. For n = 3 and 0.10 s: 0.293 s from the middle of the other two.
    When the others disagree as well (their range above the 95 % point for that many normal readings), no single one is
    to blame and the question is about all.
    """
    readings = _checked(values)
    n = len(readings)
    if n < 2:
        return None
    if n == 2:
        return _all_apart(readings, scatter, unit, what)
    mean = math.fsum(readings) / n
    index = max(range(n), key=lambda i: abs(readings[i] - mean))
    others = readings[:index] + readings[index + 1 :]
    distance = abs(readings[index] - math.fsum(others) / (n - 1))
    limit = _far_limit(n) * scatter.sd
    if _all_apart(others, scatter, unit, what):
        return _all_apart(readings, scatter, unit, what)
    if distance <= limit:
        return None
    other_words = "the middle of the other two" if n == 3 else f"the mean of the other {n - 1}"
    words = (
        f"This {what} is {_short(distance)} {unit} from {other_words}; repeated readings scatter by about "
        f"{_short(scatter.sd)} {unit}. Measure again, or keep it with a reason?"
    )
    return OutlierQuestion(Odd.ONE_FAR, index, distance, limit, words, scatter.source)


def _all_apart(readings: tuple[float, ...], scatter: KnownScatter, unit: str, what: str) -> OutlierQuestion | None:
    spread = max(readings) - min(readings)
    limit = range_limit(len(readings)) * scatter.sd
    if spread <= limit:
        return None
    words = (
        f"These {len(readings)} {what}s lie {_short(spread)} {unit} apart; repeated readings scatter by about "
        f"{_short(scatter.sd)} {unit}. Did something change between them? Measure again, or keep them with a reason?"
    )
    return OutlierQuestion(Odd.ALL_APART, None, spread, limit, words, scatter.source)


@lru_cache(maxsize=64)
def _far_limit(n: int) -> float:
    """Distance from the mean of the others, in standard deviations; n / (n - 1) times that from the mean of all."""
    from scipy import special  # 25 MB: only where it is asked for

    from_all = float(special.ndtri(1 - FALSE_ALARMS / (2 * n))) * math.sqrt((n - 1) / n)
    return from_all * n / (n - 1)


@lru_cache(maxsize=64)
def range_limit(n: int) -> float:
    """95 % point of the range of n normal readings in standard deviations (studentised range, infinite df)."""
    from scipy import stats  # half a second to import; most pages never ask

    return float(stats.studentized_range.ppf(1 - FALSE_ALARMS, n, math.inf))


def _checked(values: Sequence[float]) -> tuple[float, ...]:
    readings = tuple(float(value) for value in values)
    if not all(math.isfinite(reading) for reading in readings):
        raise ValueError("every reading must be a finite number")
    return readings


def _short(value: float) -> str:
    return f"{value:.2f}" if value >= 0.095 else f"{value:.2g}"
