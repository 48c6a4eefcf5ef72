"""Two or more designs compared: is the difference larger than what repeated runs scatter anyway?

Welch's t test, never pooled variances: OpenStax Introductory Statistics, section 10.1, and NIST/SEMATECH e-Handbook,
section 7.3.1. Several designs against one: Holm's step-down rule (S. Holm, Scand. J. Statistics 6, 65-70, 1979).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy import optimize, special

from lessons.science.summary import FEWEST_TRIALS, Group, KnownScatter
from lessons.science.values import CONFIDENCE, Interval, Measured, Unknown, effective_df, propagated, t_factor

POWER = (
    0.8  # a class should find four in five differences of the size it is told it can find (common practice, no source)
)


@dataclass(frozen=True, slots=True)
class Gap:
    """How far a measured value lies from the predicted one. ``percent`` is of the predicted value; ``agree``: the
    interval of the difference holds zero, so the scatter alone explains the gap."""

    difference: Measured
    percent: Measured | Unknown
    interval: Interval
    agree: bool


def prediction_gap(predicted: Measured, measured: Measured, confidence: float = CONFIDENCE) -> Gap:
    """Measured less predicted, and 100 (measured - predicted) / predicted."""
    difference = propagated(lambda p, m: m - p, [predicted, measured])
    percent: Measured | Unknown = Unknown("a share of zero says nothing")
    if predicted.value != 0:
        percent = propagated(lambda p, m: 100 * (m - p) / p, [predicted, measured])
    interval = difference.interval(confidence)
    return Gap(difference, percent, interval, interval.holds(0.0))


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two designs. ``difference`` is mean of the first less mean of the second with its standard error and df; ``p`` is
    two-sided: how often chance alone makes a difference as large; ``told_apart``: the interval does not hold zero."""

    difference: Measured
    t: float
    p: float
    interval: Interval
    told_apart: bool


def welch(first: Group, second: Group, confidence: float = CONFIDENCE) -> Comparison | Unknown:
    """Welch's t test. Unknown when both groups have no scatter at all: the instrument's steps hide it."""
    parts = [(group.standard_error, float(group.n - 1)) for group in (first, second)]
    error = math.hypot(*(part for part, _ in parts))
    if error == 0:
        return Unknown("all runs of each design gave the same value: the scatter hides in the steps of the instrument")
    df = effective_df(parts)
    difference = Measured(first.mean - second.mean, error, df)
    t = difference.value / error
    interval = difference.interval(confidence)
    return Comparison(difference, t, 2 * float(special.stdtr(df, -abs(t))), interval, not interval.holds(0.0))


def smallest_told_apart(first_n: int, second_n: int, scatter: KnownScatter, confidence: float = CONFIDENCE) -> float:
    """The smallest difference of two means that stands out from the scatter: t sd sqrt(1/n1 + 1/n2), t with n1 + n2 - 2
    degrees of freedom, as if the class took its scatter from these runs alone. In the unit of the readings."""
    _check_runs(first_n, second_n)
    return t_factor(first_n + second_n - 2, confidence) * scatter.sd * math.sqrt(1 / first_n + 1 / second_n)


def smallest_found(
    first_n: int, second_n: int, scatter: KnownScatter, confidence: float = CONFIDENCE, power: float = POWER
) -> float:
    """The true difference that so many runs find with the chance ``power``; larger than ``smallest_told_apart``, whose
    chance is about one in two. From the noncentral t distribution; in the unit of the readings."""
    _check_runs(first_n, second_n)
    if not 0.5 <= power < 1:
        raise ValueError(f"a power lies from 0.5 to below 1, not {power}")
    df = first_n + second_n - 2
    limit = t_factor(df, confidence)

    def missing(shift: float) -> float:
        return 1 - float(special.nctdtr(df, shift, limit)) - power

    shift = float(optimize.brentq(missing, 0.0, 4 * limit + 10))
    return shift * scatter.sd * math.sqrt(1 / first_n + 1 / second_n)


def runs_needed(difference: float, scatter: KnownScatter, most: int = 200) -> int | Unknown:
    """Runs of each design after which ``difference`` is found with the chance POWER."""
    if not difference > 0:
        raise ValueError("a difference to be found must be above 0")
    for runs in range(2, most + 1):
        if smallest_found(runs, runs, scatter) <= difference:
            return runs
    return Unknown(f"more than {most} runs of each design")


def _check_runs(first_n: int, second_n: int) -> None:
    if first_n < 1 or second_n < 1 or first_n + second_n < FEWEST_TRIALS:
        raise ValueError("each design needs a run, and both together three")


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a design stands. ``against_best`` is its comparison with the leading one (Unknown for the leader itself
    and where too little was measured); ``behind``: worse beyond doubt, after Holm's rule for all comparisons made."""

    name: str
    group: Group
    against_best: Comparison | Unknown
    behind: bool


@dataclass(frozen=True, slots=True)
class Ranking:
    """Designs from best to worst mean. ``winner`` is the leader when every other one is behind, else None: the data do
    not name a best design."""

    standings: tuple[Standing, ...]
    winner: str | None


def rank(groups: Mapping[str, Group], best_is_low: bool = True, confidence: float = CONFIDENCE) -> Ranking | Unknown:
    """Which design is best by evidence, not by a single run. Ties of the mean go by name."""
    if len(groups) < 2:
        return Unknown("two designs at least must have been run twice each")
    way = 1 if best_is_low else -1
    names = sorted(groups, key=lambda name: (way * groups[name].mean, name))
    leader = groups[names[0]]
    against = {name: welch(groups[name], leader, confidence) for name in names[1:]}
    behind = _holm({name: found.p for name, found in against.items() if isinstance(found, Comparison)}, 1 - confidence)
    standings = [Standing(names[0], leader, Unknown("it leads"), False)]
    standings += [Standing(name, groups[name], against[name], name in behind) for name in names[1:]]
    clear = all(standing.behind for standing in standings[1:])
    return Ranking(tuple(standings), names[0] if clear else None)


def _holm(p_values: Mapping[str, float], level: float) -> set[str]:
    """Names whose p stays below level / (how many are left), smallest p first, until one does not."""
    found: set[str] = set()
    ordered = sorted(p_values, key=lambda name: p_values[name])
    for place, name in enumerate(ordered):
        if p_values[name] > level / (len(ordered) - place):
            break
        found.add(name)
    return found


def pooled_group(groups: Sequence[Group]) -> Group | Unknown:
    """All runs of several teams of one design as one group: the mean of all, and the scatter of all about it."""
    n = sum(group.n for group in groups)
    if n < 2:
        return Unknown("two runs at least are needed")
    mean = math.fsum(group.n * group.mean for group in groups) / n
    squares = math.fsum((group.n - 1) * group.sd**2 + group.n * (group.mean - mean) ** 2 for group in groups)
    return Group(n, mean, math.sqrt(squares / (n - 1)))
