"""The cumulative sum: how often it cries wolf, and how soon it sees a shift. Run lengths from outside."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.drift import LIMIT, SLACK, Alarm, alarms


def siegmund(shift: float) -> float:
    """Mean number of steps until one side's alarm when the deviations have this mean (Siegmund 1985, from memory)."""
    away, bound = shift - SLACK, LIMIT + 1.166
    return (math.exp(-2 * away * bound) + 2 * away * bound - 1) / (2 * away**2)


def mean_run(rng: np.random.Generator, shift: float, rows: int, longest: int, clip: float) -> float:
    """Mean number of steps until the first alarm; rows that stay silent count as ``longest``."""
    lengths = []
    for _ in range(rows):
        found = alarms((rng.normal(size=longest) + shift).tolist(), clip)
        lengths.append(found[0].at + 1 if found else longest)
    return float(np.mean(lengths))


def test_false_alarms_come_as_seldom_as_the_source_says() -> None:
    # two sides: half of one side's 938 steps. Rates of both sides add up: 1 / 469
    expected = 1 / (2 / siegmund(0.0))
    assert expected == pytest.approx(469, abs=1)
    silent = mean_run(np.random.default_rng(1), 0.0, 300, 4000, clip=math.inf)
    assert silent == pytest.approx(expected, rel=0.15)  # 300 rows: the mean of exponential lengths scatters by 6 %


def test_holding_back_wild_runs_makes_false_alarms_no_more_frequent() -> None:
    free = mean_run(np.random.default_rng(2), 0.0, 200, 4000, clip=math.inf)
    assert mean_run(np.random.default_rng(2), 0.0, 200, 4000, clip=2.5) >= free


@pytest.mark.parametrize("shift", [1.0, 1.5, 2.0])
def test_a_shift_is_seen_as_soon_as_the_source_says(shift: float) -> None:
    # 1 standard deviation: 10.4 steps, as tables of quality control have it
    found = mean_run(np.random.default_rng(3), shift, 400, 400, clip=math.inf)
    assert found == pytest.approx(siegmund(shift), rel=0.08)


def test_the_alarm_says_since_when_and_which_way() -> None:
    assert alarms([0.0] * 5 + [2.0] * 4) == [Alarm(since=5, at=8, up=True)]
    assert alarms([0.0] * 5 + [-2.0] * 4) == [Alarm(since=5, at=8, up=False)]
    assert alarms([]) == []
