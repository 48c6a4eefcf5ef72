"""Lifting time and force: hand calculations beside the checks, and work kept."""

from __future__ import annotations

import math

import pytest

from lessons.science.hoisting import Hoist, crank_force_n, lifting_time_s
from lessons.science.values import Measured, Unknown, exactly

HOIST = Hoist(exactly(0.5), exactly(1.0), exactly(0.024), exactly(0.001), 0.018)


def test_time_by_hand() -> None:
    """0.5 m / (pi x 25 mm) = 6.366 turns of the drum; at ratio 2 and one turn of the crank a second 12.73 s."""
    found = lifting_time_s(HOIST, 2.0)
    assert isinstance(found, Measured)
    assert found.value == pytest.approx(12.732, abs=1e-3)
    assert HOIST.turns == pytest.approx(6.366, abs=1e-3)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 1.5, 3.0])
def test_the_work_of_the_hand_is_the_work_on_the_load(ratio: float) -> None:
    """Conservation of work: force x way of the handle = m g h, whatever the ratio."""
    force = crank_force_n(HOIST, ratio, 0.3, 0.045)
    way = HOIST.turns * ratio * 2 * math.pi * 0.045
    assert force * way == pytest.approx(0.3 * 9.80665 * 0.5, rel=1e-12)


def test_uncertainty_adds_in_squares() -> None:
    """Shares of 3 and 1 in 100 give sqrt(10) in 100."""
    unsure = Hoist(Measured(0.5, 0.005), Measured(1.0, 0.03), exactly(0.024), exactly(0.001), 0.018)
    found = lifting_time_s(unsure, 1.0)
    assert isinstance(found, Measured)
    assert found.uncertainty / found.value == pytest.approx(math.sqrt(10) / 100, rel=1e-3)


def test_a_string_that_piles_up_is_not_computed() -> None:
    found = lifting_time_s(Hoist(exactly(3.0), exactly(1.0), exactly(0.024), exactly(0.001), 0.018), 1.0)
    assert isinstance(found, Unknown)
    assert isinstance(lifting_time_s(HOIST, 0.0), Unknown)
    assert isinstance(lifting_time_s(Hoist(exactly(0.5), exactly(0), exactly(0.02), exactly(0)), 1.0), Unknown)
