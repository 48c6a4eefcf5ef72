"""Floating hulls against closed forms: box, wedge and a frustum by the prismatoid rule (Archimedes, no data needed)."""

from __future__ import annotations

import math

import pytest

from lessons.science.floating import displacement
from lessons.science.values import Unknown


def test_a_box_sinks_by_mass_over_density_and_floor() -> None:
    """Box 100 x 50 x 40 mm in water of 1 g/cm3: draught = mass / (density x area) = 120 / 50 cm = 24 mm."""
    box = displacement([0, 40], [5000, 5000], 1.0)
    assert box.capacity_g() == pytest.approx(200)
    assert box.draught_mm(120) == pytest.approx(24)
    assert box.freeboard_mm(120) == pytest.approx(16)
    assert box.freeboard_mm(200) == pytest.approx(0)
    assert box.load_before_sinking_g(30) == pytest.approx(170)


def test_the_freeboard_of_a_box_is_a_straight_line_in_the_load() -> None:
    box = displacement([0, 40], [5000, 5000])
    low, middle, high = (box.freeboard_mm(mass) for mass in (30.0, 80.0, 130.0))
    assert not isinstance(low, Unknown)
    assert not isinstance(high, Unknown)
    assert middle == pytest.approx((low + high) / 2)


@pytest.mark.parametrize("mass_g", [1.0, 20.0, 62.5, 125.0])
def test_a_wedge_sinks_by_the_root_of_its_mass(mass_g: float) -> None:
    """Triangular section, top 50 mm, depth 50 mm, 100 mm long: volume to depth d is 100 d^2 / 2 mm3."""
    heights = [50 * k / 2000 for k in range(2001)]
    wedge = displacement(heights, [100 * h for h in heights], 1.0)
    assert wedge.capacity_g() == pytest.approx(125)
    assert wedge.draught_mm(mass_g) == pytest.approx(math.sqrt(2 * mass_g * 1000 / 100), rel=1e-4, abs=1e-3)


def test_what_density_does() -> None:
    """Floating depth goes as one over density: a box in brine of 1.025 g/cm3 rises by 1 - 1/1.025."""
    fresh, brine = (displacement([0, 40], [5000, 5000], d).draught_mm(120) for d in (1.0, 1.025))
    assert not isinstance(fresh, Unknown)
    assert brine == pytest.approx(fresh / 1.025)


def test_a_load_too_great_is_unknown_and_says_so() -> None:
    found = displacement([0, 40], [5000, 5000], 1.0).freeboard_mm(200.1)
    assert isinstance(found, Unknown)
    assert "sinks" in found.because
    assert isinstance(displacement([0, 40], [5000, 5000]).draught_mm(-1), Unknown)


def test_an_empty_hull_too_heavy_has_no_load_left() -> None:
    assert displacement([0, 10], [1000, 1000], 1.0).load_before_sinking_g(12) == pytest.approx(-2)


def test_heights_count_from_the_keel() -> None:
    raised = displacement([5, 45], [5000, 5000], 1.0)
    assert raised.depth_mm == 40
    assert raised.draught_mm(120) == pytest.approx(24)


@pytest.mark.parametrize(
    ("heights", "areas", "density"),
    [([0], [1], 1.0), ([0, 1], [1], 1.0), ([0, 0], [1, 1], 1.0), ([0, 1], [-1, 1], 1.0), ([0, 1], [1, 1], 0.0)],
)
def test_what_cannot_be_is_refused(heights: list[float], areas: list[float], density: float) -> None:
    with pytest.raises(ValueError, match=r"wanted|must|cannot"):
        displacement(heights, areas, density)
