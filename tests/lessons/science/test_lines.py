"""Interpolation and fitted lines against NIST's certified values, closed forms, scipy and chance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize, stats

from lessons.science.lines import Line, Point, Prediction, fit_line, fit_weighted_line, predict_between, t_of_slope
from lessons.science.values import Measured, Unknown, exactly, known, t_factor
from tests.lessons.science.nist import norris


def line(found: Line | Unknown) -> Line:
    assert isinstance(found, Line)
    return found


def between(first: Point, second: Point, x: Measured) -> Prediction:
    found = predict_between(first, second, x)
    assert isinstance(found, Prediction)
    return found


LIGHT = Point(exactly(50), Measured(1.30, 0.03, 2))
HEAVY = Point(exactly(100), Measured(1.24, 0.04, 2))


def test_halfway_between_two_loads() -> None:
    """FACTS 7, row interp: (50, 1.30), (100, 1.24) at 75 gives 1.27. Halfway, u = hypot(0.03, 0.04) / 2 = 0.025, and
    Welch-Satterthwaite gives 2 (0.03^2 + 0.04^2)^2 / (0.03^4 + 0.04^4) = 3.709 df."""
    found = between(LIGHT, HEAVY, exactly(75))
    assert found.y.value == pytest.approx(1.27)
    assert found.y.uncertainty == pytest.approx(0.025, rel=1e-6)
    assert found.y.df == pytest.approx(2 * 0.0025**2 / (0.03**4 + 0.04**4), rel=1e-5)
    assert found.slope.value == pytest.approx(-0.0012)
    assert found.slope.uncertainty == pytest.approx(0.001, rel=1e-6)
    assert not found.outside


def test_the_screens_prediction() -> None:
    """By hand: halfway between 2.82 s (0 g) and 2.66 s (200 g) lies 2.74 s."""
    found = between(Point(exactly(0), exactly(2.82)), Point(exactly(200), exactly(2.66)), exactly(100))
    assert found.y.value == pytest.approx(2.74)


def test_an_uncertain_load_moves_the_reading_by_the_slope() -> None:
    """Slope -0.0012 s/g and 10 g: 0.012 s more in quadrature with 0.025 s gives 0.02773 s."""
    found = between(LIGHT, HEAVY, Measured(75, 10))
    assert found.y.uncertainty == pytest.approx(math.hypot(0.025, 0.012), rel=1e-6)


@pytest.mark.parametrize(("x", "outside"), [(50, False), (100, False), (49.9, True), (101, True)])
def test_beyond_the_two_loads_is_said(x: float, outside: bool) -> None:
    assert between(LIGHT, HEAVY, exactly(x)).outside is outside
    assert between(HEAVY, LIGHT, exactly(x)).outside is outside


def test_uncertainty_grows_beyond_the_points_and_is_theirs_at_the_points() -> None:
    assert between(LIGHT, HEAVY, exactly(50)).y.uncertainty == pytest.approx(0.03, rel=1e-6)
    assert between(LIGHT, HEAVY, exactly(100)).y.uncertainty == pytest.approx(0.04, rel=1e-6)
    # at 150 g: weights -1 and 2
    assert between(LIGHT, HEAVY, exactly(150)).y.uncertainty == pytest.approx(math.hypot(0.03, 0.08), rel=1e-6)


def test_same_load_twice_has_no_line() -> None:
    assert isinstance(predict_between(LIGHT, LIGHT, exactly(50)), Unknown)


def test_norris() -> None:
    """NIST StRD Norris, certified values (15 digits) from the file in scipy's wheel."""
    found = line(fit_line(*norris()))
    certified = {
        found.intercept.value: -0.262323073774029,
        found.intercept.uncertainty: 0.232818234301152,
        found.slope.value: 1.00211681802045,
        found.slope.uncertainty: 0.429796848199937e-03,
        found.residual_sd: 0.884796396144373,
        known(found.r_squared): 0.999993745883712,
        found.chi_squared: 26.6173985294224,
    }
    for ours, theirs in certified.items():
        assert ours == pytest.approx(theirs, rel=2e-11)
    assert found.df == 34
    t_and_p = t_of_slope(found)
    assert not isinstance(t_and_p, Unknown)
    assert t_and_p[0] ** 2 == pytest.approx(5436385.54079785, rel=1e-9)  # certified F of the regression


POINTS = st.integers(3, 12).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(0, 500), min_size=n, max_size=n),
        st.lists(st.floats(1, 5), min_size=n, max_size=n),
        st.lists(st.floats(0.01, 0.3), min_size=n, max_size=n),
    )
)


@given(POINTS)
def test_scipy_agrees_on_the_plain_line(points: tuple[list[float], list[float], list[float]]) -> None:
    x, y, _ = points
    assume(np.ptp(x) > 1 and np.ptp(y) > 0.01)
    ours, theirs = line(fit_line(x, y)), stats.linregress(x, y)
    assert ours.slope.value == pytest.approx(theirs.slope, rel=1e-8, abs=1e-10)
    assert ours.intercept.value == pytest.approx(theirs.intercept, rel=1e-8, abs=1e-8)
    assert known(ours.r_squared) == pytest.approx(theirs.rvalue**2, abs=1e-9)
    if theirs.stderr > 1e-8:
        assert ours.slope.uncertainty == pytest.approx(theirs.stderr, rel=1e-5)
        assert ours.intercept.uncertainty == pytest.approx(theirs.intercept_stderr, rel=1e-5)
        t_and_p = t_of_slope(ours)
        assert not isinstance(t_and_p, Unknown)
        assert t_and_p[1] == pytest.approx(theirs.pvalue, rel=1e-4, abs=1e-12)


@given(POINTS, st.booleans())
def test_scipy_agrees_on_the_weighted_line(points: tuple[list[float], list[float], list[float]], bars: bool) -> None:
    x, y, u = points
    assume(np.ptp(x) > 10 and np.ptp(y) > 0.1)
    ours = line(fit_weighted_line(x, y, u, known_bars=bars))
    start = [ours.slope.value * 1.1 + 1e-3, ours.intercept.value + 0.1]
    best, covariance = optimize.curve_fit(
        lambda at, slope, intercept: slope * at + intercept, x, y, p0=start, sigma=u, absolute_sigma=bars
    )
    errors = np.sqrt(np.diag(covariance))
    assert [ours.slope.value, ours.intercept.value] == pytest.approx(list(best), rel=1e-4, abs=1e-5)
    if errors.min() > 1e-6:
        assert [ours.slope.uncertainty, ours.intercept.uncertainty] == pytest.approx(list(errors), rel=1e-3)
    # the line at x by numpy: e' C e
    at = float(np.mean(x)) + 7
    if errors.min() > 1e-6:
        direct = math.sqrt(np.array([at, 1]) @ covariance @ np.array([at, 1]))
        assert ours.at(at).uncertainty == pytest.approx(direct, rel=1e-3)


@given(POINTS)
def test_equal_bars_weigh_like_none(points: tuple[list[float], list[float], list[float]]) -> None:
    x, y, _ = points
    assume(np.ptp(x) > 1 and np.ptp(y) > 0.01)
    plain, equal = line(fit_line(x, y)), line(fit_weighted_line(x, y, [0.2] * len(x), known_bars=False))
    assert equal.slope.value == pytest.approx(plain.slope.value, rel=1e-9, abs=1e-12)
    assert equal.slope.uncertainty == pytest.approx(plain.slope.uncertainty, rel=1e-6, abs=1e-12)


def test_three_points_by_hand() -> None:
    """(0, 1), (1, 3), (2, 4): slope 1.5, intercept 7/6, squares about the line 1/6, s = sqrt(1/6) = 0.40825 with 1 df,
    se(slope) = s / sqrt(2) = 0.28868, se(intercept) = s sqrt(1/3 + 1/2) = 0.37268; at x = 3 the line's error is
    s sqrt(1/3 + 4/2) = 0.62361, that of one more reading s sqrt(1 + 7/3) = 0.74536. t(1) = 12.706."""
    found = line(fit_line([0, 1, 2], [1, 3, 4]))
    assert (found.slope.value, found.intercept.value) == pytest.approx((1.5, 7 / 6))
    assert found.slope.uncertainty == pytest.approx(0.288675, abs=1e-6)
    assert found.intercept.uncertainty == pytest.approx(0.372678, abs=1e-6)
    assert found.at(3).value == pytest.approx(17 / 3)
    assert found.at(3).uncertainty == pytest.approx(0.623610, abs=1e-6)
    assert found.new_reading_at(3).uncertainty == pytest.approx(0.745356, abs=1e-6)
    assert found.slope_interval().high == pytest.approx(1.5 + 12.7062 * 0.288675, rel=1e-4)
    assert found.intercept_interval().low == pytest.approx(7 / 6 - 12.7062 * 0.372678, rel=1e-4)
    assert found.band_at(3).high == pytest.approx(17 / 3 + 12.7062 * 0.623610, rel=1e-4)
    assert found.prediction_interval(3).high == pytest.approx(17 / 3 + 12.7062 * 0.745356, rel=1e-4)
    assert found.outside(3)
    assert not found.outside(1)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """2000 classes on a true line 2.8 - 0.0008 x with scatter 0.1: the 90 % intervals hold it in 90 % of them."""
    chance = np.random.default_rng(7)
    x = np.repeat([0.0, 50.0, 100.0, 200.0], 3)
    slope, band, reading = 0, 0, 0
    runs = 2000
    for _ in range(runs):
        found = line(fit_line(list(x), list(2.8 - 0.0008 * x + chance.normal(0, 0.1, len(x)))))
        slope += found.slope_interval(0.9).holds(-0.0008)
        band += found.band_at(150, 0.9).holds(2.68)
        reading += found.prediction_interval(150, 0.9).holds(2.68 + chance.normal(0, 0.1))
    for count in (slope, band, reading):
        assert count / runs == pytest.approx(0.9, abs=0.03)  # four standard errors of 0.0067


def test_bars_tell_a_bend_from_scatter() -> None:
    """The demo lesson's own curve (2.69, 2.55, 2.51 s) bends. Hand timing's bars (0.10 / sqrt(3)) swallow that, bars
    of 0.01 s do not. By hand: residuals are d / 6 times (1, -2, 1) with d = 2.69 - 5.10 + 2.51 = 0.10, so chi^2 =
    d^2 / (6 u^2): 0.5 for u = 0.0577, 16.7 for 0.01; the 95 % point of chi^2(1) is 3.84."""
    loads, times = [0.0, 100.0, 200.0], [2.69, 2.55, 2.51]
    wide = line(fit_weighted_line(loads, times, [0.1 / math.sqrt(3)] * 3))
    fine = line(fit_weighted_line(loads, times, [0.01] * 3))
    assert wide.chi_squared == pytest.approx(0.5)
    assert fine.chi_squared == pytest.approx(100 / 6)
    assert wide.straight_enough is True
    assert fine.straight_enough is False
    assert isinstance(line(fit_line(loads, times)).straight_enough, Unknown)


def test_known_bars_use_the_normal_factor_and_need_a_bar_for_a_new_reading() -> None:
    found = line(fit_weighted_line([0, 100, 200], [2.8, 2.7, 2.6], [0.05] * 3))
    assert found.slope.df == math.inf
    half = (found.slope_interval().high - found.slope_interval().low) / 2
    assert half == pytest.approx(t_factor(math.inf) * 0.05 / math.sqrt(20000))
    with pytest.raises(ValueError, match="bar of the new reading"):
        found.new_reading_at(100)
    assert found.new_reading_at(100, 0.05).uncertainty == pytest.approx(0.05 * math.sqrt(4 / 3))


@pytest.mark.parametrize("points", [0, 1, 2])
def test_two_points_are_no_evidence_for_a_line(points: int) -> None:
    found = fit_line([0.0, 200.0][:points], [2.8, 2.6][:points])
    assert isinstance(found, Unknown)
    assert "at least 3" in found.because


def test_one_load_has_no_slope_and_flat_data_no_r_squared() -> None:
    assert isinstance(fit_line([100, 100, 100], [2.7, 2.8, 2.6]), Unknown)
    assert isinstance(fit_line([0.1 + 0.2, 0.3, 0.3], [2.7, 2.8, 2.6]), Unknown)
    flat = line(fit_line([0, 100, 200], [2.7, 2.7, 2.7]))
    assert isinstance(flat.r_squared, Unknown)
    assert isinstance(t_of_slope(flat), Unknown)


def test_bad_points_are_refused() -> None:
    with pytest.raises(ValueError, match="as many"):
        fit_line([1, 2, 3], [1, 2])
    with pytest.raises(ValueError, match="finite"):
        fit_line([1, 2, 3], [1, 2, math.nan])
    with pytest.raises(ValueError, match="above 0"):
        fit_weighted_line([1, 2, 3], [1, 2, 3], [0.1, 0.0, 0.1])
    with pytest.raises(ValueError, match="as many bars"):
        fit_weighted_line([1, 2, 3], [1, 2, 3], [0.1])
