"""A gram less at the rim, by hand, and whether a class could see it."""

from __future__ import annotations

import math

import pytest

from lessons.lab.rim import Rim, rim_of, rim_told
from lessons.science.rolling import G_M_S2, NO_LOSS, Cart, Ramp, Wheel
from lessons.science.summary import KnownScatter
from lessons.science.values import Unknown, exactly
from tests.lessons.lab.test_results import experiment

RAMP = Ramp(exactly(3.0), exactly(0.3))
CART = Cart(exactly(0.0543), Wheel(exactly(0.0095), exactly(4.98e-6), exactly(0.03)))


def rim(cart: Cart = CART) -> Rim:
    found = rim_of(experiment(), cart, RAMP, NO_LOSS, 0)
    assert isinstance(found, Rim)
    return found


def test_by_hand() -> None:
    """m = 54.3 + 4 x 9.5 = 92.3 g, 4 I / R2 = 4 x 49.8 / 9 = 22.133 g; t = sqrt(2 L / (g x 0.1 x m / (m + 4 I / R2))).
    A gram less at each rim: m = 88.3 g, I = 49.8 - 9 = 40.8 g cm2, 4 I / R2 = 18.133 g."""
    before = math.sqrt(6 / (G_M_S2 * 0.1 * 92.3 / (92.3 + 22.1333)))
    after = math.sqrt(6 / (G_M_S2 * 0.1 * 88.3 / (88.3 + 18.1333)))
    axle = math.sqrt(6 / (G_M_S2 * 0.1 * 88.3 / (88.3 + 22.1333)))
    found = rim()
    assert (found.before_s, found.at_rim_s, found.at_axle_s) == pytest.approx((before, after, axle), rel=1e-6)
    assert found.inertia_g_cm2 == pytest.approx(9.0)
    assert (
        found.change_s < 0 < found.at_axle_s - found.before_s
    )  # without loss a lighter cart of the same spin is slower


def test_hand_timing_swallows_it_and_says_how_many_runs_it_would_take() -> None:
    """0.038 s against 0.10 s: Cohen's d = 0.38; n = 2 (1.96 + 0.84)^2 / d^2 = 106 by the normal rule. (Cohen,
    Statistical Power Analysis, table 2.4.1, from memory: 99 for d = 0.40, 175 for d = 0.30.)"""
    found = rim()
    told = rim_told(experiment(), found, Unknown("nobody measured"))
    assert [each.title for each in told] == ["One gram less at each rim", "Too small for this class to see"]
    assert f"{abs(found.change_s):.3f} s shorter" in told[0].text
    needed = int(told[1].text.split("about ")[-1].split()[0])
    assert needed == pytest.approx(2 * (1.96 + 0.8416) ** 2 / (abs(found.change_s) / 0.10) ** 2, rel=0.03)


def test_a_class_that_times_by_a_gate_could_see_it() -> None:
    told = rim_told(experiment(), rim(), KnownScatter(0.004, "a gate", 30))
    assert told[1].title == "This class could see it"
    unsure = rim_told(experiment(), rim(), KnownScatter(0.004, "two teams", 4))  # too few to trust: the hand counts
    assert unsure[1].title == "Too small for this class to see"


def test_a_wheel_without_a_gram_to_spare_says_so() -> None:
    light = Cart(exactly(0.05), Wheel(exactly(0.0012), exactly(0.5e-6), exactly(0.03)))
    told = rim_told(experiment(), rim_of(experiment(), light, RAMP, NO_LOSS, 0), Unknown(""))
    assert told[0].text == "This wheel does not have a gram to spare at its rim."
