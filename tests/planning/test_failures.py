"""Failure rates: closed forms, limits, and simulated printers whose truth is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.failures import WORTH_COPIES, WORTH_FAILURES, Tally, failure_rate, scaled, total, two_hour_share
from planning.types import Risk

BELIEVED = Risk(fail_per_start=0.04, fail_per_hour=0.02, spoil_per_copy=0.01)


def test_nothing_on_record_is_what_is_believed() -> None:
    found = failure_rate(Tally(), [[], []], BELIEVED)
    assert found.factor == 1
    assert found.share == pytest.approx(1 - 0.96 * math.exp(-0.04))
    assert found.low < found.share < found.high
    assert found.spoil == 0.01


@pytest.mark.parametrize(("starts", "failed"), [(30, 0), (20, 10), (3, 3)])
def test_one_step_by_hand(starts: int, failed: int) -> None:
    expected = starts * (0.04 + 2 * 0.02)
    found = failure_rate(Tally(starts, failed, 2.0 * starts), [], BELIEVED)
    assert found.factor == pytest.approx((failed + WORTH_FAILURES) / (expected + WORTH_FAILURES))


def test_a_group_passes_its_answer_on() -> None:
    # four neighbours fail twice as often as believed; the printer itself has ten starts of two hours without a failure
    each, own = Tally(125, 20, 250.0), Tally(10, 0, 20.0)
    damped = WORTH_FAILURES / (WORTH_FAILURES + 10)  # 125 starts of two hours: ten failures expected
    general = (4 * damped * 20 + WORTH_FAILURES) / (4 * damped * 10 + WORTH_FAILURES)
    by_hand = WORTH_FAILURES * general / (WORTH_FAILURES + 0.8)
    assert failure_rate(own, [[each] * 4], BELIEVED).factor == pytest.approx(by_hand)


def test_one_bad_neighbour_says_little_however_long_its_record() -> None:
    bad = Tally(5000, 2000, 10_000.0)  # five times as often
    found = failure_rate(Tally(), [[bad]], BELIEVED)
    assert 2 < found.factor < (1 + 5) / 2 + 0.1  # no more than the middle of it and the belief


def test_spoilt_copies_by_hand() -> None:
    found = failure_rate(Tally(copies=40, spoilt=4), [], BELIEVED)
    assert found.spoil == pytest.approx((0.01 * WORTH_COPIES + 4) / (WORTH_COPIES + 40))


def test_many_runs_replace_the_belief() -> None:
    found = failure_rate(Tally(2000, 600, 4000.0), [], BELIEVED)
    assert found.share == pytest.approx(1 - (1 - 0.04 * 3.65) * math.exp(-0.04 * 3.65), abs=0.01)


@pytest.mark.parametrize("starts", [0, 5, 25, 60])
def test_known_truth_lies_in_the_stated_interval_nine_times_of_ten(starts: int) -> None:
    """Printers are drawn as believed (gamma with mean 1, worth five failures); runs of one to five hours fail at the
    start or, exponentially, on the way; hours are those really printed."""
    rng = np.random.default_rng([6, starts])
    inside = 0
    for _ in range(800):
        truth = scaled(BELIEVED, float(rng.gamma(WORTH_FAILURES, 1 / WORTH_FAILURES)))
        tallies = []
        for hours in rng.uniform(1, 5, starts):
            at_start = rng.random() < truth.fail_per_start
            on_the_way = float(rng.exponential(1 / truth.fail_per_hour))
            failed = at_start or on_the_way < hours
            tallies.append(Tally(1, int(failed), 0.0 if at_start else min(float(hours), on_the_way)))
        found = failure_rate(total(tallies), [], BELIEVED)
        inside += found.low <= two_hour_share(truth) <= found.high
    assert 0.88 <= inside / 800 <= 0.96, inside / 800  # 800 printers: the share scatters by 1.1 percent points


def test_chances_stay_chances() -> None:
    assert scaled(BELIEVED, 1000.0).fail_per_start == 1.0
    assert scaled(BELIEVED, 2.0, spoil=0.2, spread=0.3) == Risk(0.08, 0.04, 0.3, 0.2)
