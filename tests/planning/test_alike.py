"""Printers of one kind: what a new one may learn from the others, and how sure that is."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.alike import BETWEEN_FACTOR, BETWEEN_FIXED_S, beliefs_from
from planning.calibration import Default, FinishedRun, calibrate
from tests.planning.test_calibration import drawn, history


def like(rng: np.random.Generator, factor: float, fixed_s: float) -> tuple[float, float]:
    """A printer of a kind that has this factor and these fixed seconds."""
    return factor + BETWEEN_FACTOR * float(rng.normal()), fixed_s + BETWEEN_FIXED_S * float(rng.normal())


@pytest.mark.parametrize(("others", "own"), [(1, 0), (1, 3), (3, 0), (3, 2), (4, 20)])
@pytest.mark.parametrize("late_share", [0.0, 0.05])
def test_truth_lies_in_the_stated_interval_nine_times_of_ten(others: int, own: int, late_share: float) -> None:
    rng = np.random.default_rng([8, others, own, round(100 * late_share)])
    inside = np.zeros(3)
    for _ in range(300):
        kind, spread = drawn(rng), float(rng.uniform(0.03, 0.08))
        kin = [calibrate(history(rng, 15, *like(rng, *kind), spread, late_share)) for _ in range(others)]
        factor, fixed_s = like(rng, *kind)
        found = calibrate(history(rng, own, factor, fixed_s, spread, late_share), beliefs_from(kin))
        estimate = float(rng.uniform(1, 5)) * 3600
        one_run = factor * estimate + fixed_s + spread * math.hypot(estimate, 1800) * rng.normal()
        corrected = found.duration(estimate)
        inside += [
            factor in found.factor_interval,
            factor * estimate + fixed_s in corrected.interval,
            one_run in corrected.run,
        ]
    # 300 histories: the share itself scatters by 1.7 percent points (binomial); one and a half of that is allowed below
    assert (inside / 300 >= 0.9 - 0.026).all(), inside / 300


def test_a_kind_says_more_than_the_default_and_less_than_own_runs() -> None:
    rng = np.random.default_rng(3)
    kin = [calibrate(history(rng, 30, 1.3, 200)) for _ in range(3)]
    nothing, from_kin = calibrate([]), calibrate([], beliefs_from(kin))
    own = calibrate(history(rng, 30, 1.3, 200), beliefs_from(kin))
    assert nothing.duration(7200).mean == 7200
    assert from_kin.factor == pytest.approx(1.3, abs=0.07)
    widths = [found.factor_interval.high - found.factor_interval.low for found in (nothing, from_kin, own)]
    assert widths[0] > 1.5 * widths[1] > 1.5 * widths[2]


def test_own_runs_win_over_a_kind_that_is_otherwise() -> None:
    rng = np.random.default_rng(4)
    beliefs = beliefs_from([calibrate(history(rng, 40, 0.9, 0)) for _ in range(3)])
    assert calibrate(history(rng, 40, 1.25, 0), beliefs).factor == pytest.approx(1.25, abs=0.04)


def test_without_others_it_is_the_default() -> None:
    default, found = Default().beliefs(), beliefs_from([calibrate([])])
    assert found.time.mean.tolist() == default.time.mean.tolist()
    assert found.time.covariance.tolist() == default.time.covariance.tolist()
    assert found.grams.scale == default.grams.scale


def test_one_length_of_plates_in_all_the_others_is_no_trouble() -> None:
    # their information matrix has no inverse: factor and fixed minutes cannot be told apart, their sum can
    kin = [calibrate([FinishedRun(7200.0, 9000.0)] * 20) for _ in range(2)]
    found = calibrate([], beliefs_from(kin))
    assert found.duration(7200).mean == pytest.approx(9000, rel=0.03)
    assert found.factor_interval.high - found.factor_interval.low > 0.2


def test_the_same_by_the_textbooks_formula_for_one_number() -> None:
    # grams: one coefficient. Others' means m_i with variance v_i scatter about the kind's mean by t^2; the default is
    # N(1, 0.1^2). Kind's mean: weights 1 / (v_i + t^2), Gelman et al., Bayesian data analysis, eq. 5.20 (from memory)
    rng = np.random.default_rng(5)
    kin = [
        calibrate([FinishedRun(3600, 3600, 50, 50 * factor * (1 + 0.03 * rng.normal())) for _ in range(12)])
        for factor in (1.04, 1.1)
    ]
    start = Default().beliefs().grams
    between = 0.03**2
    weights, means = [1 / start.covariance[0, 0]], [1.0]
    for each in kin:
        data_precision = 1 / each.grams_fit.covariance[0, 0] - 1 / start.covariance[0, 0]
        data_mean = (each.grams_factor / each.grams_fit.covariance[0, 0] - 1 / start.covariance[0, 0]) / data_precision
        weights.append(1 / (1 / data_precision + between))
        means.append(data_mean)
    found = beliefs_from(kin).grams
    assert found.mean[0] == pytest.approx(np.average(means, weights=weights), rel=1e-9)
    assert found.covariance[0, 0] == pytest.approx(1 / sum(weights) + between, rel=1e-9)
