"""How often prints fail, learned from the runs on record and shrunk toward what is believed while they are few.

Failures are counted against those expected of the same starts and printing hours under the believed risk; the ratio
has a gamma prior of mean 1 that counts as much as WORTH_FAILURES expected failures (Poisson counts with a gamma prior:
A. Gelman et al., Bayesian data analysis, section 2.6; from memory). Spoilt copies of runs that reached their end are a
share with a beta prior worth WORTH_COPIES copies. From general to particular (the room's other printers, the printer
with its other materials, the printer with this material) each step's answer is the next one's belief, and no run
counts in two steps. One neighbour, however long its record, says of the others only what one draw can say: its counts
are damped so that they weigh no more than the prior (for a gamma of shape W the precision of F / E about the common
mean is 1 / (1 / E + 1 / W)).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from planning.types import Risk

WORTH_FAILURES = 5.0
WORTH_COPIES = 60.0
INTERVAL_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class Tally:
    """What runs have shown: starts, those that failed, hours printed until end or failure, and of the runs that
    reached their end the copies and the spoilt ones among them."""

    starts: int = 0
    failed: int = 0
    hours: float = 0.0
    copies: int = 0
    spoilt: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(
            self.starts + other.starts,
            self.failed + other.failed,
            self.hours + other.hours,
            self.copies + other.copies,
            self.spoilt + other.spoilt,
        )

    def expected(self, risk: Risk) -> float:
        """Failures to be expected of these starts and hours."""
        return risk.fail_per_start * self.starts + risk.fail_per_hour * self.hours


@dataclass(frozen=True, slots=True)
class FailureRate:
    """How often a two-hour print fails: ``share`` and where it lies in INTERVAL_SHARE of all cases; ``factor`` is how
    many times the believed rate that is, ``spoil`` the share of copies spoilt in a run that reached its end."""

    factor: float
    share: float
    low: float
    high: float
    spoil: float


def total(tallies: Iterable[Tally]) -> Tally:
    """All of them together."""
    return sum(tallies, Tally())


def failure_rate(own: Tally, neighbours: Sequence[Sequence[Tally]], believed: Risk) -> FailureRate:
    """What the printer's ``own`` runs make of ``believed``, after each group of ``neighbours``, the most distant group
    first; a neighbour is one tally. No run is in two of them."""
    from scipy import special  # 25 MB: only where it is asked for

    factor, spoil = 1.0, believed.spoil_per_copy
    for group in neighbours:
        failed = expected = spoilt = copies = 0.0
        for each in group:
            damped = WORTH_FAILURES / (WORTH_FAILURES + each.expected(believed))
            failed, expected = failed + damped * each.failed, expected + damped * each.expected(believed)
            damped = WORTH_COPIES / (WORTH_COPIES + each.copies)
            spoilt, copies = spoilt + damped * each.spoilt, copies + damped * each.copies
        factor = (WORTH_FAILURES * factor + failed) / (WORTH_FAILURES + expected)
        spoil = (WORTH_COPIES * spoil + spoilt) / (WORTH_COPIES + copies)
    shape, rate = WORTH_FAILURES * factor + own.failed, WORTH_FAILURES + own.expected(believed)
    factor, spoil = shape / rate, (WORTH_COPIES * spoil + own.spoilt) / (WORTH_COPIES + own.copies)
    tail = (1 - INTERVAL_SHARE) / 2
    low, high = (float(special.gammaincinv(shape, share)) / rate for share in (tail, 1 - tail))
    share, low_share, high_share = (two_hour_share(scaled(believed, each)) for each in (factor, low, high))
    return FailureRate(factor, share, low_share, high_share, spoil)


def scaled(risk: Risk, factor: float, spoil: float | None = None, spread: float | None = None) -> Risk:
    """The risk with ``factor`` times the failures; ``spoil`` and ``spread`` replace its own where given."""
    return Risk(
        fail_per_start=min(1.0, risk.fail_per_start * factor),
        fail_per_hour=risk.fail_per_hour * factor,
        duration_spread=risk.duration_spread if spread is None else spread,
        spoil_per_copy=risk.spoil_per_copy if spoil is None else spoil,
    )


def two_hour_share(risk: Risk) -> float:
    """The share of two-hour prints that fail."""
    return 1 - (1 - risk.fail_per_start) * math.exp(-2 * risk.fail_per_hour)
