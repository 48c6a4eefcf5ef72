"""The loss from coast-downs: by hand, and from runs rolled out by numbers."""

from __future__ import annotations

import math

import pytest

from lessons.science.coasting import (
    loss_share,
    losses_from_coasting,
    slowing_between_marks,
    slowing_from_speed,
    slowing_to_rest,
    speed_at_start,
)
from lessons.science.rolling import G_M_S2, Cart, Losses, Wheel
from lessons.science.values import Measured, Unknown, exactly

CART = Cart(exactly(0.0543), Wheel(exactly(0.0095), exactly(4.98e-6), exactly(0.03)))


def test_three_ways_tell_the_same_by_hand() -> None:
    """b = 0.2 m/s2, 1.6 m from the second mark: v there sqrt(2 x 0.2 x 1.6) = 0.8 m/s, and t = 0.8 / 0.2 = 4 s to rest.
    The first mark is 0.9 m before: v sqrt(2 x 0.2 x 2.5) = 1.0 m/s, so (1.0 - 0.8) / 0.2 = 1 s between the marks."""
    assert slowing_to_rest(exactly(1.6), exactly(4.0)).value == pytest.approx(0.2)
    assert slowing_between_marks(exactly(0.9), exactly(1.0), exactly(1.6)).value == pytest.approx(0.2)
    assert slowing_from_speed(exactly(0.8), exactly(1.6)).value == pytest.approx(0.2)
    assert speed_at_start(0.2, 1.6) == pytest.approx(0.8)


def test_a_textbook_stop() -> None:
    """OpenStax University Physics volume 1, section 3.4, stopping distances: 30.0 m/s, 7.00 m/s2 on dry concrete takes
    64.3 m, 5.00 m/s2 on wet concrete 90.0 m (figures from memory, recomputed: 900 / 14 and 900 / 10)."""
    assert slowing_from_speed(exactly(30.0), exactly(64.3)).value == pytest.approx(7.00, abs=0.005)
    assert slowing_from_speed(exactly(30.0), exactly(90.0)).value == pytest.approx(5.00)


@pytest.mark.parametrize(
    ("slowing", "marks", "way"), [(0.02, 0.1, 6.0), (0.2, 0.9, 1.6), (1.0, 2.0, 0.2), (0.11, 0.5, 2.2)]
)
def test_a_run_rolled_out_by_numbers_gives_its_slowing_back(slowing: float, marks: float, way: float) -> None:
    first, second = math.sqrt(2 * slowing * (marks + way)), math.sqrt(2 * slowing * way)
    steps, x, time = 4000, 0.0, 0.0
    for _step in range(steps):  # time of each small piece of way at the speed of its middle
        middle = x + marks / steps / 2
        time += marks / steps / math.sqrt(first**2 - 2 * slowing * middle)
        x += marks / steps
    assert slowing_between_marks(exactly(marks), exactly(time), exactly(way)).value == pytest.approx(slowing, rel=1e-5)
    assert slowing_from_speed(exactly(second), exactly(way)).value == pytest.approx(slowing)


def test_uncertainty_by_hand() -> None:
    """b = 2 s / t^2: u(b) / b = hypot(u(s) / s, 2 u(t) / t) = hypot(0.01 / 1.6, 0.2 / 4) = 0.05039. Between marks the
    same 0.10 s in 1 s count 20 %. v^2 / (2 s): hypot(2 x 0.03, 0.01 / 1.6) = 0.06032."""
    way, watch = Measured(1.6, 0.01), Measured(4.0, 0.10)
    assert slowing_to_rest(way, watch).uncertainty == pytest.approx(0.2 * 0.05039, rel=1e-3)
    marks = slowing_between_marks(exactly(0.9), Measured(1.0, 0.10), exactly(1.6))
    assert marks.uncertainty == pytest.approx(0.2 * 0.20, rel=1e-3)
    assert slowing_from_speed(Measured(0.8, 0.024), way).uncertainty == pytest.approx(0.2 * 0.06032, rel=1e-3)


def test_the_share_counts_the_spin() -> None:
    """2 m in 6 s: b = 0.11111 m/s2; m = 0.0923 kg, 4 I / R2 = 0.022133 kg; c = b (m + 4 I / R2) / (m g) = 0.014047."""
    found = loss_share(slowing_to_rest(exactly(2.0), exactly(6.0)), CART)
    assert found.value == pytest.approx(0.11111 * (0.0923 + 0.022133) / (0.0923 * G_M_S2), rel=1e-4)
    assert found.value == pytest.approx(0.014047, rel=1e-3)


def test_several_runs_and_none() -> None:
    """0.010 and 0.014 with 0.001 each: mean 0.012, chi2 8, so 0.00070711 grows by sqrt 8 to 0.002 with 1 df."""
    found = losses_from_coasting([Measured(0.010, 0.001), Measured(0.014, 0.001)], "here")
    assert isinstance(found, Losses)
    assert (found.share.value, found.share.uncertainty, found.share.df) == pytest.approx((0.012, 0.002, 1))
    assert isinstance(losses_from_coasting([], "here"), Unknown)
