"""Two or more designs compared: is the difference larger than what repeated runs scatter anyway?

Welch's t test, never pooled variances: OpenStax Introductory Statistics, section 10.1, and NIST/SEMATECH e-Handbook,
section 7.3.1. Several designs against one: Holm's step-down rule (S. Holm, Scand. J. Statistics 6, 65-70, 1979).
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lessons.science.summary import FEWEST_TRIALS, Group, KnownScatter
from lessons.science.values import CONFIDENCE, Interval, Measured, Unknown, effective_df, propagated, t_factor

POWER = (
    0.8  # a class should find four in five differences of the size it is told it can find (common practice, no source)
)
NODES = 24  # of the quadrature over how the scatter is shared; 48 give the same to 1e-6


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
    from scipy import special  # 25 MB: only where it is asked for

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
    """The true difference that Welch's test on so many runs finds with the chance ``power``; larger than
    ``smallest_told_apart``, whose chance is about one in two. In the unit of the readings; two runs each at least.

    Both designs scatter alike here, but the test does not know it: with three runs each it pays for that (0.35 instead
    of the pooled test's 0.31 s by hand).
    """
    if first_n < 2 or second_n < 2:
        raise ValueError("each design needs two runs to have a scatter")
    if not 0.5 <= power < 1:
        raise ValueError(f"a power lies from 0.5 to below 1, not {power}")

    from scipy import optimize  # 13 MB that other pages need not

    def missing(shift: float) -> float:
        return power_of_welch(shift, first_n, second_n, confidence) - power

    highest = 10.0
    while missing(highest) < 0:
        highest *= 2
    shift = float(optimize.brentq(missing, 0.0, highest, xtol=1e-6))
    return shift * scatter.sd * math.sqrt(1 / first_n + 1 / second_n)


def power_of_welch(shift: float, first_n: int, second_n: int, confidence: float = CONFIDENCE) -> float:
    """How often Welch's test finds a difference of ``shift`` standard errors in the right direction, both groups of
    normal readings with one true scatter.

    Given how the total of squares is shared between the groups (a Beta variable B), Welch's t is a noncentral t of
    n1 + n2 - 2 df times a known factor, and its df are known too; the mean over B by Gauss and Jacobi's rule.
    """
    from scipy import special  # 25 MB: only where it is asked for

    first, second = first_n - 1.0, second_n - 1.0
    df = first + second
    share, weights = special.roots_sh_jacobi(NODES, df / 2 - 1, first / 2)
    one, other = share / (first_n * first), (1 - share) / (second_n * second)
    welch_df = (one + other) ** 2 / (one**2 / first + other**2 / second)
    factor = np.sqrt(df * (one + other) / (1 / first_n + 1 / second_n))
    limit = special.stdtrit(welch_df, (1 + confidence) / 2) * factor
    found = 1 - special.nctdtr(df, shift, limit)
    return float(weights @ found / weights.sum())


def runs_needed(difference: float, scatter: KnownScatter, most: int = 200) -> int | Unknown:
    """Runs of each design after which ``difference`` is found with the chance POWER."""
    if not difference > 0:
        raise ValueError("a difference to be found must be above 0")
    if smallest_found(most, most, scatter) > difference:
        return Unknown(f"more than {most} runs of each design")
    found = bisect.bisect_left(range(2, most + 1), True, key=lambda n: smallest_found(n, n, scatter) <= difference)
    return found + 2


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
