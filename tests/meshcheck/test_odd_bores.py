"""Hub holes that are no plain cylinder: tapered, ribbed, open to one side, parted by a skin, of no usual outline.

Every figure is a closed form of what the test drew: a cone's radius at the height of an end, the bar between the tips
of ribs, the largest circle in a cross (2 sqrt(2) times half the arm's width). Found with wheels modelled in another
library (trimesh's booleans), where such holes were once missed, called missing, or called narrow.
"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.holes import find_holes
from meshcheck.types import Gauge, Hole, Level, Mesh
from meshcheck.types.bore import BoreKind

from .parts import Outline, Solid, box, disc, mesh_of, moved, random_turn, wheel
from .test_gauge import judged

NEAR_MM = 1e-3
SIDES = 48
NARROWER = np.cos(np.pi / SIDES)


def turned(solid: m3.Manifold) -> Mesh:
    return moved(mesh_of(solid), random_turn(np.random.default_rng(4)), (20.0, -7.0, 3.0))


def hub(solid: m3.Manifold) -> Hole:
    return next(hole for hole in find_holes(turned(solid)) if hole.hub)


def through(outline: m3.CrossSection) -> m3.Manifold:
    return wheel(bore=0) - outline.extrude(30).translate((0, 0, -5))


def tapered(low: float, high: float) -> m3.Manifold:
    """A wheel 20 mm wide, whose bore has these radii at its ends."""
    over = (high - low) / 20
    return wheel(bore=0) - Solid.cylinder(22, low - over, high + over, SIDES).translate((0, 0, -1))


@pytest.mark.parametrize(("low", "high"), [(1.6, 1.62), (1.6, 1.75), (2.0, 1.6), (1.6, 2.6), (1.6, 4.0)])
def test_a_tapered_bore_is_measured_at_both_ends(low: float, high: float) -> None:
    hole = hub(tapered(low, high))
    narrow, wide = 2 * min(low, high), 2 * max(low, high)
    assert hole.shape.kind is BoreKind.TAPERED
    assert hole.diameter_mm == pytest.approx(narrow, abs=NEAR_MM)
    assert hole.shape.wide_mm == pytest.approx(wide, abs=NEAR_MM)
    assert hole.free_diameter_mm == pytest.approx(narrow * NARROWER, abs=NEAR_MM)
    assert hole.depth_mm == pytest.approx(20, abs=0.01)
    assert hole.eccentricity_mm == pytest.approx(0, abs=NEAR_MM)
    assert hole.through
    assert hole.certain


def test_a_taper_is_advice_where_the_axle_passes_and_must_be_mended_where_round_is_asked() -> None:
    drafted = turned(tapered(1.6, 1.75))
    found = judged(drafted, Gauge(hole_diameter_mm=3.2))
    assert found["bore_tapers"].figure == "from 3.20 mm to 3.50 mm"
    assert found["bore_tapers"].level is Level.ADVICE
    assert all(finding.level is not Level.MUST_FIX for finding in found.values())
    assert (
        "narrow end only" in judged(drafted, Gauge(hole_diameter_mm=3.2, bore_kind="round"))["bore_shape_changed"].why
    )


@pytest.mark.parametrize("kind", [None, "round"])
def test_a_taper_within_the_tolerance_of_the_hole_is_no_matter(kind: str | None) -> None:
    found = judged(turned(tapered(1.6, 1.64)), Gauge(hole_diameter_mm=3.2, bore_kind=kind))
    assert set(found) == {"hole_kept"}


@pytest.mark.parametrize("floor", [0.4, 3.0])
def test_two_blind_holes_that_face_each_other_are_two(floor: float) -> None:
    """A skin across a bore, such as is drawn to print it without support, makes it two blind holes."""
    whole = wheel(bore=3.2, bore_facets=SIDES) + disc(2, floor).translate((0, 0, 10 - floor / 2))
    found = [hole for hole in find_holes(turned(whole)) if abs(hole.diameter_mm - 3.2) < NEAR_MM]
    assert [round(hole.depth_mm, 2) for hole in found] == [10 - floor / 2] * 2
    assert not any(hole.through for hole in found)
    assert "hole_blind" in judged(turned(whole), Gauge(hole_diameter_mm=3.2, through=True))


def ribbed(number: int) -> m3.CrossSection:
    """A bore of 6 mm with ribs whose tips stand 2.5 mm from the middle."""
    outline = Outline.circle(3, 64)
    for k in range(number):
        outline = outline - Outline.square((2, 0.6)).translate((2.5, -0.3)).rotate(360 / number * k)
    return outline


def test_between_three_ribs_a_thinner_bar_passes() -> None:
    hole = hub(through(ribbed(3)))
    assert hole.free_diameter_mm == pytest.approx(5, abs=0.01)
    assert hole.through
    found = judged(turned(through(ribbed(3))), Gauge(hole_diameter_mm=6))
    assert "5.00 mm" in found["bore_shape_changed"].why
    assert "hole_few_sides" not in found
    assert "hole_coarse" not in found
    assert "hole_too_large" in judged(turned(through(ribbed(3))), Gauge(hole_diameter_mm=3.2))


def test_beside_one_rib_the_bar_stands_to_one_side() -> None:
    """The largest circle inside another that leaves out the rib's tip: half of both reaches, 3 and 2.5 mm."""
    hole = hub(through(ribbed(1)))
    assert hole.diameter_mm == pytest.approx(6, abs=NEAR_MM)
    assert hole.free_diameter_mm == pytest.approx(5.5, abs=0.02)
    assert hole.shape.kind is BoreKind.OTHER
    assert hole.through


@pytest.mark.parametrize("opening", [1.2, 4.0])
def test_a_slit_beside_the_bore_does_not_narrow_it(opening: float) -> None:
    clip = (
        disc(10, 12)
        - Outline.circle(3, 64).extrude(30).translate((0, 0, -5))
        - box(12, opening, 20, (0, -opening / 2, -2))
    )
    (hole,) = find_holes(turned(clip))
    assert hole.free_diameter_mm == pytest.approx(6 * np.cos(np.pi / 64), abs=NEAR_MM)
    assert hole.through
    assert set(judged(turned(clip), Gauge(hole_diameter_mm=6))) == {"hole_kept"}


def test_a_cross_is_a_hole_of_another_shape_not_a_missing_one() -> None:
    cross = Outline.square((5, 1.8), center=True) + Outline.square((1.8, 5), center=True)
    hole = hub(through(cross))
    assert hole.shape.kind is BoreKind.OTHER
    assert hole.free_diameter_mm == pytest.approx(1.8 * np.sqrt(2), abs=0.01)
    assert hole.depth_mm == pytest.approx(20, abs=0.01)
    assert hole.through
    assert not hole.certain
    found = judged(turned(through(cross)), Gauge(hole_diameter_mm=3.2))
    assert "2.55 mm" in found["bore_shape_changed"].why
    assert not {"hole_filled", "hole_too_large", "hole_too_small"} & set(found)


def test_a_triangle_lets_its_inscribed_circle_pass() -> None:
    """Half the radius of the circle around an equilateral triangle (Euclid, Elements IV)."""
    hole = hub(through(Outline.circle(3, 3)))
    assert hole.free_diameter_mm == pytest.approx(3, abs=0.01)
    assert hole.shape.kind is BoreKind.OTHER


def test_a_grooved_bore_is_one_hole() -> None:
    """Pieces that grow towards each other from both ends meet in the end."""
    grooved = disc(12, 20) - Outline.circle(3, 64).extrude(30).translate((0, 0, -5))
    for k in range(19):
        grooved = grooved - disc(3.4, 0.5, 64).translate((0, 0, 0.75 + k))
    bores = [hole for hole in find_holes(turned(grooved)) if abs(hole.diameter_mm - 6) < NEAR_MM]
    assert [round(hole.depth_mm, 2) for hole in bores] == [20.0]
