"""Calibration: simulated printers whose truth is known must be recovered within the stated intervals."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from planning.calibration import Default, FinishedRun, calibrate, find_drift
from planning.robust import Prior, fit

HISTORIES = 300


def drawn(rng: np.random.Generator) -> tuple[float, float]:
    """Factor and fixed seconds of a printer such as the default expects."""
    believed = Default()
    return float(rng.normal(believed.factor, believed.factor_sd)), float(rng.normal(0.0, believed.fixed_sd_s))


def history(
    rng: np.random.Generator,
    count: int,
    factor: float,
    fixed_s: float,
    spread: float = 0.05,
    late_share: float = 0.0,
    longest_h: float = 6.0,
) -> list[FinishedRun]:
    """Runs of half an hour to ``longest_h``; ``late_share`` of them were noted up to two hours late."""
    runs = []
    for _ in range(count):
        estimate = float(rng.uniform(0.5, longest_h)) * 3600
        actual = factor * estimate + fixed_s + spread * math.hypot(estimate, 1800) * rng.normal()
        if rng.random() < late_share:
            actual += float(rng.uniform(0.5, 2.0)) * 3600
        grams = estimate / 3600 * 12
        weighed = rng.random() < 0.5
        runs.append(
            FinishedRun(
                estimate,
                max(actual, 60.0),
                grams if weighed else None,
                grams * 1.06 * (1 + 0.03 * rng.normal()) if weighed else None,
            )
        )
    return runs


@pytest.mark.parametrize("count", [0, 1, 3, 8, 20, 60])
@pytest.mark.parametrize("late_share", [0.0, 0.05])
def test_known_truth_lies_in_the_stated_interval_nine_times_of_ten(count: int, late_share: float) -> None:
    """Printers are drawn as the default believes them to be: a factor of 1 give or take 20 %, five fixed minutes."""
    rng = np.random.default_rng([4, count, round(100 * late_share)])
    inside = np.zeros(4)
    for _ in range(HISTORIES):
        factor, fixed_s = drawn(rng)
        spread = float(rng.uniform(0.03, 0.08))
        found = calibrate(history(rng, count, factor, fixed_s, spread, late_share))
        estimate = float(rng.uniform(1, 5)) * 3600
        corrected = found.duration(estimate)
        one_run = factor * estimate + fixed_s + spread * math.hypot(estimate, 1800) * rng.normal()
        inside += [
            factor in found.factor_interval,
            fixed_s in found.fixed_interval_s,
            factor * estimate + fixed_s in corrected.interval,
            one_run in corrected.run,
        ]
    # 300 histories: the share itself scatters by 1.7 percent points (binomial); one and a half of that is allowed below
    assert (inside / HISTORIES >= 0.9 - 0.026).all(), inside / HISTORIES
    assert (inside[:3] / HISTORIES <= 0.985).all(), inside / HISTORIES  # and the intervals are not simply huge


def test_over_all_lengths_of_history_it_is_nine_of_ten() -> None:
    rng = np.random.default_rng(90)
    inside, total = np.zeros(2), 0
    for count in (2, 5, 10, 15, 30, 45):
        for _ in range(250):
            factor, fixed_s = drawn(rng)
            found = calibrate(history(rng, count, factor, fixed_s, 0.05))
            inside += [factor in found.factor_interval, fixed_s in found.fixed_interval_s]
            total += 1
    assert (inside / total >= 0.9).all(), inside / total


@pytest.mark.parametrize(("factor", "fixed_min"), [(1.18, 6.0), (0.85, 12.0), (1.35, -3.0)])
def test_many_runs_replace_the_default(factor: float, fixed_min: float) -> None:
    found = calibrate(history(np.random.default_rng(11), 60, factor, 60 * fixed_min, 0.03))
    assert found.factor == pytest.approx(factor, abs=0.03)
    assert found.fixed_s == pytest.approx(60 * fixed_min, abs=240)
    assert found.factor_interval.high - found.factor_interval.low < 0.06


def test_without_runs_the_default_stands() -> None:
    found = calibrate([])
    assert (found.factor, found.fixed_s, found.runs) == (1.0, 0.0, 0)
    assert find_drift([]) is None
    assert found.duration(7200.0).mean == pytest.approx(7200.0)
    wide = found.duration(7200.0)
    assert wide.interval.low < 0.7 * 7200 < 1.3 * 7200 < wide.interval.high


def test_few_runs_move_the_default_only_part_of_the_way() -> None:
    # one run that took 1.5 times as long: with a spread of 6 % and a belief of 20 % it moves most, not all, of the way
    one = calibrate([FinishedRun(7200, 10800)])
    assert 1.1 < one.duration(7200).mean / 7200 < 1.5
    many = calibrate([FinishedRun(7200, 10800)] * 20)
    assert many.duration(7200).mean / 7200 == pytest.approx(1.5, abs=0.02)
    sure = calibrate([FinishedRun(7200, 10800)], Default(factor_sd=0.02, fixed_sd_s=30))
    assert sure.duration(7200).mean < one.duration(7200).mean


def test_a_run_noted_the_next_morning_is_set_aside() -> None:
    runs = history(np.random.default_rng(5), 15, 1.1, 300, 0.03)
    clean = calibrate(runs)
    runs.insert(7, FinishedRun(2 * 3600, 16 * 3600))
    found = calibrate(runs)
    assert found.set_aside == (7,)
    assert found.factor == pytest.approx(clean.factor, abs=0.02)
    assert found.fixed_s == pytest.approx(clean.fixed_s, abs=120)


def test_equal_plates_cannot_tell_factor_from_fixed_minutes_but_their_sum() -> None:
    rng = np.random.default_rng(8)
    runs = [FinishedRun(7200, 7200 * 1.2 + 300 + 200 * rng.normal()) for _ in range(30)]
    found = calibrate(runs)
    assert found.factor_interval.high - found.factor_interval.low > 0.1
    same = found.duration(7200)
    assert same.mean == pytest.approx(7200 * 1.2 + 300, rel=0.02)
    assert same.interval.high - same.interval.low < 0.05 * 7200


def test_grams_are_learned_from_what_was_weighed() -> None:
    found = calibrate(history(np.random.default_rng(3), 60, 1.0, 0.0))
    assert 10 < found.weighed < 50  # half of them, drawn by lot
    assert found.grams_factor == pytest.approx(1.06, abs=0.015)
    assert 1.06 in found.grams_interval
    corrected = found.grams(100.0)
    assert corrected.mean == pytest.approx(106, abs=1.5)
    assert corrected.run.low < corrected.interval.low < corrected.interval.high < corrected.run.high


def test_only_the_newest_runs_count() -> None:
    rng = np.random.default_rng(2)
    found = calibrate(history(rng, 100, 1.4, 0.0, 0.03) + history(rng, 60, 1.0, 0.0, 0.03))
    assert found.runs == 60
    assert found.factor == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("seed", range(3))
def test_the_forecasts_spread_is_that_of_the_runs(seed: int) -> None:
    # the logarithm of a ratio scatters as the ratio does while it is small
    rng = np.random.default_rng(seed)
    found = calibrate(history(rng, 60, 1.1, 0.0, 0.05))
    assert found.duration_spread(4 * 3600) == pytest.approx(0.05 / 1.1, rel=0.35)
    assert found.duration_spread(600) > found.duration_spread(4 * 3600)
    assert calibrate([]).duration_spread(4 * 3600) > found.duration_spread(4 * 3600)


# ---- drift


def test_a_printer_that_slows_down_is_noticed_soon() -> None:
    noticed, delays, shares = 0, [], []
    for seed in range(60):
        rng = np.random.default_rng([1, seed])
        runs = history(rng, 30, 1.05, 200, 0.05)
        for more in range(1, 13):
            runs += history(rng, 1, 1.05 * 1.2, 200, 0.05)
            found = find_drift(runs)
            if found is not None and found.since_run >= 25:
                noticed += 1
                delays.append(more)
                shares.append(found.share)
                break
    assert noticed >= 54
    assert np.median(delays) <= 6
    assert np.median(shares) == pytest.approx(0.2, abs=0.05)


def test_a_steady_printer_seldom_raises_an_alarm() -> None:
    alarms = sum(
        find_drift(history(np.random.default_rng([2, seed]), 40, 1.15, 300, 0.05, late_share=0.03)) is not None
        for seed in range(150)
    )
    assert alarms <= 15


def test_a_printer_that_gets_faster_has_a_share_below_zero() -> None:
    rng = np.random.default_rng(6)
    runs = history(rng, 30, 1.2, 200, 0.04) + history(rng, 8, 0.95, 200, 0.04)
    drift = find_drift(runs)
    assert drift is not None
    assert drift.share == pytest.approx(-0.2, abs=0.06)
    assert 26 <= drift.since_run <= 33


def test_one_wild_run_is_no_drift() -> None:
    runs = history(np.random.default_rng(9), 20, 1.1, 200, 0.04)
    assert find_drift([*runs, FinishedRun(3600, 40_000)]) is None


# ---- the fit itself


def test_without_heavy_tails_and_prior_it_is_least_squares() -> None:
    # Gaussian data and a prior that says nothing: numpy's least squares within a part of its own error
    rng = np.random.default_rng(0)
    rows = np.stack([rng.uniform(1, 5, 400), np.ones(400)], axis=1)
    values = rows @ [1.3, 0.4] + 0.1 * rng.normal(size=400)
    found = fit(rows, values, Prior.independent((0.0, 0.0), (1e3, 1e3), 0.1, 0.01))
    expected, *_ = np.linalg.lstsq(rows, values, rcond=None)
    error = np.sqrt(np.diag(0.01 * np.linalg.inv(rows.T @ rows)))
    assert (np.abs(found.coefficients - expected) < 0.5 * error).all()
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(error, rel=0.15)


def test_with_one_run_in_seven_wild_the_line_stays() -> None:
    rng = np.random.default_rng(1)
    rows = np.stack([rng.uniform(1, 5, 90), np.ones(90)], axis=1)
    values = rows @ [1.3, 0.4] + 0.05 * rng.normal(size=90)
    values[::7] += rng.uniform(1, 5, 13)
    least, *_ = np.linalg.lstsq(rows, values, rcond=None)
    found = fit(rows, values, Prior.independent((1.0, 0.0), (1.0, 1.0), 0.05, 2.0))
    assert np.abs(found.coefficients - [1.3, 0.4]).max() < 0.1
    assert np.abs(least - [1.3, 0.4]).max() > 0.2


@pytest.mark.parametrize("bad", [0.0, -5.0, math.nan, math.inf])
def test_runs_that_cannot_be_are_refused(bad: float) -> None:
    good = FinishedRun(3600.0, 4000.0, 10.0, 11.0)
    for name in ("estimate_s", "actual_s", "estimate_g", "actual_g"):
        with pytest.raises(ValueError):
            replace(good, **{name: bad})


@pytest.mark.bench
def test_speed_of_a_full_history() -> None:
    runs = history(np.random.default_rng(3), 60, 1.1, 200)
    for name, learn in (("calibrate", calibrate), ("find_drift", find_drift)):
        learn(runs)
        started = time.process_time()
        learn(runs)
        print(f"\n60 runs, {name}: {(time.process_time() - started) * 1e3:.1f} ms CPU")
