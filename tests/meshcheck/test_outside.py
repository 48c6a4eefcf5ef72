"""The outside of a part against closed forms: what it pushes away, what a string winds on, what is open below."""

from __future__ import annotations

import math

import numpy as np
import pytest
from manifold3d import Manifold

from meshcheck.check import check_part
from meshcheck.outside import SECTIONS, outside_of
from meshcheck.types import Gauge, Outside, Unknown
from tests.meshcheck.badfiles import binary_stl
from tests.meshcheck.parts import box, disc, drilled, mesh_of, moved


def known(*solids: Manifold) -> Outside:
    found = outside_of(mesh_of(*solids))
    assert isinstance(found, Outside), found
    return found


def test_a_trough_counts_as_the_box_around_it() -> None:
    """80 x 40 x 30 mm with a hollow 76 x 36 mm: outline 3200 mm2 at each height, string round it 240 mm."""
    found = known(box(80, 40, 30) - box(76, 36, 30, (2, 2, 2)))
    assert len(found.heights_mm) == SECTIONS
    assert (found.heights_mm[0], found.heights_mm[-1]) == (0.0, 30.0)
    assert np.array(found.areas_mm2) == pytest.approx(3200.0, abs=0.01)
    assert np.array(found.rounds_mm) == pytest.approx(240.0, abs=0.01)
    assert found.open_below_mm2 == 0


def test_what_stands_in_the_hollow_adds_nothing_and_two_floats_add_up() -> None:
    trough = box(80, 40, 30) - box(76, 36, 30, (2, 2, 2))
    assert np.array(known(trough + box(5, 5, 30, (30, 20, 0))).areas_mm2) == pytest.approx(3200.0, abs=0.01)
    two = known(box(80, 10, 20), box(80, 10, 20, (0, 30, 0)))
    assert np.array(two.areas_mm2) == pytest.approx(1600.0, abs=0.01)
    assert np.array(two.rounds_mm) == pytest.approx(2 * (80 + 40), abs=0.01)  # tight round both


def test_a_cone_by_its_formula() -> None:
    """Radius from 10 to 20 mm over 30 mm: area pi r^2 of the 256-cornered outline, n / 2 sin(2 pi / n) r^2."""
    found = known(Manifold.cylinder(30.0, 10.0, 20.0, 256))
    shape = 256 / 2 * math.sin(2 * math.pi / 256)
    expected = [shape * (10 + h / 3) ** 2 for h in found.heights_mm]
    assert np.array(found.areas_mm2) == pytest.approx(np.array(expected), rel=1e-4)


def test_a_hollow_from_below_is_told_and_an_engraving_is_not() -> None:
    assert known(drilled(disc(20, 10, 256), 5, 256)).open_below_mm2 == pytest.approx(math.pi * 25, rel=1e-3)
    upside_down = box(80, 40, 30) - box(76, 36, 28, (2, 2, 0))
    assert known(upside_down).open_below_mm2 == pytest.approx(76 * 36, rel=1e-3)
    assert known(box(80, 40, 30) - box(20, 20, 0.6, (30, 10, 0))).open_below_mm2 == 0


def test_it_is_measured_from_the_lowest_point_wherever_the_part_lies() -> None:
    far = outside_of(moved(mesh_of(box(80, 40, 30)), offset=(500, -200, 77)))
    assert isinstance(far, Outside)
    assert (far.heights_mm[0], far.heights_mm[-1]) == (0.0, 30.0)


def test_a_flat_part_and_an_open_skin_have_none() -> None:
    assert isinstance(outside_of(mesh_of(box(80, 40, 1.5))), Unknown)
    trough = mesh_of(box(80, 40, 30))
    holed = type(trough)(trough.vertices, trough.faces[:-1], trough.body[:-1])
    assert isinstance(outside_of(holed), Unknown)


def test_only_a_redesigned_part_has_it_in_its_report() -> None:
    data = binary_stl(mesh_of(drilled(disc(20, 10, 128), 3, 128)).corners)
    assert isinstance(check_part(data, "a.stl").outside, Unknown)
    assert isinstance(check_part(data, "a.stl", gauge=Gauge(hole_diameter_mm=6.0)).outside, Outside)
