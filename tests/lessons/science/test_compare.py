"""Comparisons against textbook examples, R's figures, scipy and simulated classes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from lessons.science.compare import (
    Comparison,
    Ranking,
    pooled_group,
    power_of_welch,
    prediction_gap,
    rank,
    runs_needed,
    smallest_found,
    smallest_told_apart,
    welch,
)
from lessons.science.summary import HAND_TIMING, Group, KnownScatter, Summary, summarise
from lessons.science.values import Measured, Unknown, exactly

RUNS = st.lists(st.floats(0.5, 5), min_size=2, max_size=10).filter(lambda runs: max(runs) - min(runs) > 1e-3)


def group(values: list[float]) -> Group:
    return Group(len(values), float(np.mean(values)), float(np.std(values, ddof=1)))


def compared(first: Group, second: Group) -> Comparison:
    found = welch(first, second)
    assert isinstance(found, Comparison)
    return found


def test_textbook_welch() -> None:
    """OpenStax Introductory Statistics, section 10.1: girls and boys at sport; t -3.14, df 18.85, p 0.0054."""
    found = compared(Group(9, 2.0, 0.866), Group(16, 3.2, 1.0))
    assert found.t == pytest.approx(-3.14, abs=0.005)
    assert found.difference.df == pytest.approx(18.84659, abs=1e-4)  # computed from the printed s 0.866
    assert found.p == pytest.approx(0.0054, abs=5e-5)
    assert found.told_apart


def test_welch_of_r() -> None:
    """t.test of R as recorded in scipy's tests (test_stats.py): t -0.686495127355726265, p 0.53619490753126686."""
    found = compared(group([1, 2, 3]), group([1.1, 2.9, 4.2]))
    assert found.t == pytest.approx(-0.686495127355726265, rel=1e-12)
    assert found.p == pytest.approx(0.53619490753126686, rel=1e-10)
    assert not found.told_apart


@given(RUNS, RUNS)
def test_scipy_agrees(first: list[float], second: list[float]) -> None:
    found = compared(group(first), group(second))
    theirs = stats.ttest_ind(first, second, equal_var=False)
    interval = theirs.confidence_interval(0.95)
    assert found.p == pytest.approx(float(theirs.pvalue), rel=1e-7)
    assert (found.interval.low, found.interval.high) == pytest.approx((interval.low, interval.high), rel=1e-7, abs=1e-9)


def test_equal_readings_say_why_not() -> None:
    assert isinstance(welch(Group(3, 1.2, 0.0), Group(3, 1.3, 0.0)), Unknown)


@pytest.mark.parametrize(("runs", "seconds"), [(3, 0.23), (5, 0.146), (10, 0.094)])
def test_what_hand_timing_can_tell(runs: int, seconds: float) -> None:
    """FACTS 4, consequences of hand timing with 0.10 s (computed)."""
    assert smallest_told_apart(runs, runs, HAND_TIMING) == pytest.approx(seconds, abs=0.004)


def test_power_against_statsmodels_figure() -> None:
    """Two groups, d = 0.5, power 0.8 at 5 %: 64 in each group (Cohen, Statistical Power Analysis, table 2.4.1: 64)."""
    scatter = KnownScatter(1.0, "unit")
    assert smallest_found(64, 64, scatter) == pytest.approx(0.5, abs=0.002)
    assert runs_needed(0.5, scatter) == 64
    assert runs_needed(0.8, scatter) == 26  # the same table: d = 0.8, 26 in each group
    assert isinstance(runs_needed(0.01, scatter), Unknown)


@pytest.mark.parametrize(("first_n", "second_n"), [(2, 2), (3, 3), (5, 5), (3, 6), (12, 12)])
def test_power_holds_in_simulated_classes(first_n: int, second_n: int) -> None:
    """What is promised to be found four times in five is found so, by Welch's test of scipy in 20 000 classes."""
    random = np.random.default_rng(4)
    difference = smallest_found(first_n, second_n, HAND_TIMING)
    first = random.normal(2.5, 0.1, (20_000, first_n))
    second = random.normal(2.5 + difference, 0.1, (20_000, second_n))
    tested = stats.ttest_ind(first, second, axis=1, equal_var=False)
    found = (tested.pvalue < 0.05) & (tested.statistic < 0)
    assert found.mean() == pytest.approx(0.8, abs=4 * math.sqrt(0.16 / 20_000))


def test_welch_pays_for_not_pooling_and_less_with_more_runs() -> None:
    """Against the pooled test's figure (noncentral t): with three runs 14 % more, with thirty next to nothing."""

    def pooled(n: int) -> float:
        df = 2 * n - 2
        limit = stats.t.ppf(0.975, df)
        shift = optimize.brentq(lambda at: stats.nct.sf(limit, df, at) - 0.8, 0.1, 20)
        return float(shift) * HAND_TIMING.sd * math.sqrt(2 / n)

    assert smallest_found(3, 3, HAND_TIMING) / pooled(3) == pytest.approx(1.142, abs=0.005)
    assert smallest_found(30, 30, HAND_TIMING) / pooled(30) == pytest.approx(1, abs=0.002)
    assert pooled(3) == pytest.approx(0.307, abs=0.001)


@pytest.mark.parametrize(("first_n", "second_n"), [(1, 5), (5, 1), (0, 3)])
def test_one_run_finds_nothing(first_n: int, second_n: int) -> None:
    with pytest.raises(ValueError, match="two runs"):
        smallest_found(first_n, second_n, HAND_TIMING)


def test_power_is_chance_without_a_difference_and_certain_for_a_huge_one() -> None:
    assert power_of_welch(0.0, 30, 30) == pytest.approx(0.025, abs=1e-4)
    assert power_of_welch(60.0, 5, 5) == pytest.approx(1.0, abs=1e-6)


def test_gap_of_a_prediction() -> None:
    """1.27 s predicted (FACTS 7, row interp), 1.31 s measured: 3.15 % by hand."""
    found = prediction_gap(Measured(1.27, 0.04), Measured(1.31, 0.03))
    assert isinstance(found.percent, Measured)
    assert found.percent.value == pytest.approx(100 * 0.04 / 1.27, rel=1e-12)
    assert found.difference.uncertainty == pytest.approx(0.05, rel=1e-6)  # 3-4-5
    assert found.agree
    assert not prediction_gap(exactly(1.27), Measured(1.31, 0.01)).agree
    assert isinstance(prediction_gap(exactly(0.0), exactly(1.0)).percent, Unknown)


def test_no_winner_by_a_lucky_run() -> None:
    close = {"a": group([2.50, 2.61, 2.55]), "b": group([2.52, 2.60, 2.58]), "c": group([3.4, 3.45, 3.5])}
    found = rank(close)
    assert isinstance(found, Ranking)
    assert found.winner is None
    assert [standing.name for standing in found.standings] == ["a", "b", "c"]
    assert [standing.behind for standing in found.standings] == [False, False, True]
    far = rank({"a": group([2.0, 2.01, 2.02]), "b": group([2.5, 2.51, 2.52]), "c": group([3.4, 3.45, 3.5])})
    assert isinstance(far, Ranking)
    assert far.winner == "a"
    high = rank({"a": group([2.0, 2.01, 2.02]), "b": group([2.5, 2.51, 2.52])}, best_is_low=False)
    assert isinstance(high, Ranking)
    assert high.winner == "b"


def test_equal_designs_rarely_win() -> None:
    """Eight equal designs, five runs each: a winner is named in fewer than 5 of 100 classes."""
    random = np.random.default_rng(11)
    named = 0
    for _ in range(400):
        runs = random.normal(2.5, 0.1, (8, 5))
        found = rank({str(number): group(list(row)) for number, row in enumerate(runs)})
        assert isinstance(found, Ranking)
        named += found.winner is not None
    assert named / 400 < 0.05


@given(st.lists(RUNS, min_size=1, max_size=5))
def test_pooled_group_is_the_group_of_all(teams: list[list[float]]) -> None:
    found = pooled_group([group(runs) for runs in teams])
    assert isinstance(found, Group)
    everything = summarise([run for runs in teams for run in runs])
    if isinstance(everything, Summary):
        assert found.mean == pytest.approx(everything.mean, rel=1e-9)
        assert found.sd == pytest.approx(everything.sd, rel=1e-6, abs=1e-9)
