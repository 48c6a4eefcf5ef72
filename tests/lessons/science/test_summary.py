"""Mean, scatter and interval against textbook and NIST values; the outlier question against tables and chance."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lessons.science.summary import (
    HAND_TIMING,
    Group,
    KnownScatter,
    Odd,
    RangeOnly,
    Summary,
    outlier_question,
    pooled_scatter,
    range_limit,
    summarise,
)
from lessons.science.values import Unknown
from tests.lessons.science.nist import sirstv

READINGS = st.lists(st.floats(0.1, 100, allow_nan=False), min_size=3, max_size=12)


def full(values: list[float], confidence: float = 0.95) -> Summary:
    found = summarise(values, confidence)
    assert isinstance(found, Summary)
    return found


def test_five_times() -> None:
    """FACTS 7, row mean-CI (computed)."""
    found = full([1.21, 1.18, 1.25, 1.19, 1.22])
    assert found.n == 5
    assert found.mean == pytest.approx(1.21, abs=1e-12)
    assert found.sd == pytest.approx(0.027386, abs=5e-7)
    assert found.standard_error == pytest.approx(0.012247, abs=5e-7)
    assert (found.interval.low, found.interval.high) == pytest.approx((1.17600, 1.24400), abs=5e-6)
    assert (found.low, found.high, found.spread) == pytest.approx((1.18, 1.25, 0.07))


def test_textbook_interval() -> None:
    """FACTS 7, row CI-book: OpenStax Introductory Statistics 2e, example in section 8.2."""
    found = full([8.6, 9.4, 7.9, 6.8, 8.3, 7.3, 9.2, 9.6, 8.7, 11.4, 10.3, 5.4, 8.1, 5.5, 6.9])
    assert found.mean == pytest.approx(8.2267, abs=5e-5)
    assert found.sd == pytest.approx(1.6722, abs=5e-5)
    assert (found.interval.low, found.interval.high) == pytest.approx((7.3006, 9.1527), abs=1e-4)


@given(READINGS, st.sampled_from([0.68, 0.9, 0.95, 0.99]))
def test_scipy_and_the_standard_library_agree(values: list[float], confidence: float) -> None:
    found = full(values, confidence)
    assert found.mean == pytest.approx(statistics.fmean(values), rel=1e-12)
    assert found.sd == pytest.approx(statistics.stdev(values), rel=1e-7, abs=1e-9)
    if found.sd > 1e-6:
        low, high = stats.t.interval(confidence, len(values) - 1, np.mean(values), stats.sem(values))
        assert (found.interval.low, found.interval.high) == pytest.approx((low, high), rel=1e-7)
    assert found.low <= found.mean <= found.high
    assert found.interval.holds(found.mean)


@given(READINGS, st.floats(0.1, 10), st.floats(-50, 50))
def test_other_units_and_another_zero_change_the_figures_alike(values: list[float], scale: float, shift: float) -> None:
    before, after = full(values), full([scale * value + shift for value in values])
    assert after.mean == pytest.approx(scale * before.mean + shift, rel=1e-9, abs=1e-9)
    assert after.sd == pytest.approx(scale * before.sd, rel=1e-6, abs=1e-8)


@given(READINGS.flatmap(lambda values: st.tuples(st.just(values), st.permutations(values))))
def test_order_of_the_trials_does_not_matter(pair: tuple[list[float], list[float]]) -> None:
    assert full(pair[0]).mean == pytest.approx(full(pair[1]).mean, rel=1e-14)


def test_fewer_than_three_give_a_range_and_say_so() -> None:
    two = summarise([2.72, 2.68])
    assert isinstance(two, RangeOnly)
    assert (two.n, two.low, two.high) == (2, 2.68, 2.72)
    assert "two trials" in two.because
    assert "at least 3" in two.because
    assert not hasattr(two, "mean")
    one = summarise([2.72])
    assert isinstance(one, RangeOnly)
    assert one.low == one.high == 2.72
    assert isinstance(summarise([]), Unknown)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        summarise([1.0, bad, 2.0])
    with pytest.raises(ValueError, match="finite"):
        outlier_question([1.0, bad, 2.0])


def test_three_equal_times_keep_the_uncertainty_of_the_watch() -> None:
    """Steps of 0.01 s leave 0.01 / sqrt(12) = 0.002887 s (NIST TN 1297 section 4.6)."""
    equal = full([2.7, 2.7, 2.7])
    assert equal.sd == 0
    assert equal.measured(0.01).uncertainty == pytest.approx(0.0028868, abs=5e-8)
    assert equal.measured(0.01).df == math.inf
    # and where the times do scatter, both count: hypot(0.012247, 0.002887) with 4 (0.012583 / 0.012247)^4 df
    five = full([1.21, 1.18, 1.25, 1.19, 1.22]).measured(0.01)
    assert five.uncertainty == pytest.approx(0.0125831, abs=5e-7)
    assert five.df == pytest.approx(4 * (0.0125831 / 0.0122474) ** 4, rel=1e-4)


def test_hand_timing_standard_errors() -> None:
    """FACTS 4, consequences of 0.10 s: n = 3 0.058, 5 0.045, 10 0.032 s."""
    for n, error in ((3, 0.058), (5, 0.045), (10, 0.032)):
        found = full([2.0 + 0.01 * i for i in range(n)]).measured_with(HAND_TIMING)
        assert found.uncertainty == pytest.approx(error, abs=5e-4)
        assert found.df == math.inf


def test_pooled_scatter_is_the_certified_residual_standard_deviation() -> None:
    """NIST StRD SiRstv: certified residual standard deviation 0.104076068334656 with 20 degrees of freedom."""
    found = pooled_scatter(sirstv(), "five instruments")
    assert isinstance(found, KnownScatter)
    assert found.sd == pytest.approx(1.04076068334656e-01, rel=1e-12)
    assert found.df == 20


def test_pooled_scatter_says_when_it_cannot_know() -> None:
    assert isinstance(pooled_scatter([[1.0], [2.0]], "class"), Unknown)
    assert isinstance(pooled_scatter([[1.0, 1.0], [2.0, 2.0]], "class"), Unknown)


def test_range_limit_is_the_studentised_range_table() -> None:
    """Upper 5 % points of the studentised range, infinite df: 2.77, 3.31, 3.63, 3.86 for 2 to 5 (table from memory,
    as in Pearson and Hartley, Biometrika Tables for Statisticians; for two it is 1.96 sqrt(2))."""
    assert [round(range_limit(n), 2) for n in (2, 3, 4, 5)] == [2.77, 3.31, 3.63, 3.86]
    assert range_limit(2) == pytest.approx(1.959964 * math.sqrt(2), rel=1e-6)


def test_odd_time_is_asked_about_and_named() -> None:
    """By hand: z(1 - 0.05 / 6) = 2.394; 2.394 * 0.10 * sqrt(2 / 3) * 3 / 2 = 0.2932 s from the other two's middle."""
    asked = outlier_question([2.70, 2.72, 3.05])
    assert asked is not None
    assert (asked.odd, asked.index) == (Odd.ONE_FAR, 2)
    assert asked.distance == pytest.approx(0.34)
    assert asked.limit == pytest.approx(0.2932, abs=5e-5)
    assert "0.34 s from the middle of the other two" in asked.words
    assert "Am. J. Phys. 87(2), 110" in asked.source
    assert outlier_question([2.70, 2.72, 3.00]) is None  # 0.29 s: just inside


@pytest.mark.parametrize(
    ("values", "odd", "index"),
    [
        ([2.70, 2.71], None, None),
        ([2.70, 3.00], Odd.ALL_APART, None),  # 1.96 sqrt(2) 0.10 = 0.277 s
        ([2.40, 2.75, 2.71], Odd.ONE_FAR, 0),
        ([2.2, 2.6, 3.0], Odd.ALL_APART, None),
        ([2.70, 2.71, 2.69, 2.72, 3.20], Odd.ONE_FAR, 4),
        ([2.7], None, None),
        ([], None, None),
    ],
)
def test_who_is_asked(values: list[float], odd: Odd | None, index: int | None) -> None:
    asked = outlier_question(values)
    assert (asked.odd, asked.index) == (odd, index) if asked else odd is None


def test_sound_sets_are_asked_about_at_most_one_time_in_twenty() -> None:
    chance = np.random.default_rng(20240607)
    sets = chance.normal(2.7, HAND_TIMING.sd, (4000, 3))
    asked = sum(outlier_question(list(three)) is not None for three in sets) / len(sets)
    assert 0.03 < asked < 0.055  # Bonferroni's bound is 0.05; its standard error here 0.0034


def test_a_class_with_its_own_scatter_asks_sooner() -> None:
    own = KnownScatter(0.03, "class 7B, 48 pooled trials", 32)
    assert outlier_question([2.70, 2.72, 2.85]) is None
    asked = outlier_question([2.70, 2.72, 2.85], own)
    assert asked is not None
    assert "0.03 s" in asked.words


@given(st.lists(st.floats(1, 5), min_size=2, max_size=6))
def test_asking_never_removes_anything(values: list[float]) -> None:
    before = list(values)
    outlier_question(values)
    assert values == before


@pytest.mark.parametrize(("n", "mean", "sd"), [(1, 2.0, 0.1), (3, math.nan, 0.1), (3, 2.0, -0.1)])
def test_groups_need_a_scatter(n: int, mean: float, sd: float) -> None:
    with pytest.raises(ValueError):
        Group(n, mean, sd)
