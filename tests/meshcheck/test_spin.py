"""Spin of wheels against closed forms: one wheel, four in a file, turned and moved."""

from __future__ import annotations

import numpy as np
import pytest

from meshcheck.check import check_part
from meshcheck.types import Gauge, Mesh, PrintSettings, Spin, Unknown
from tests.meshcheck.badfiles import binary_stl
from tests.meshcheck.parts import box, disc, drilled, mesh_of, moved

GAUGE = Gauge(hole_diameter_mm=6.0)
SOLID = PrintSettings(infill_share=1.0)
RING_G = np.pi * (30**2 - 3**2) * 8 * 1.24e-3
RING_G_MM2 = RING_G * (30**2 + 3**2) / 2  # annular cylinder, OpenStax University Physics 1, figure 10.20


def spin_in(mesh: Mesh, gauge: Gauge | None = GAUGE) -> Spin | Unknown:
    return check_part(binary_stl(mesh.corners), "wheel.stl", gauge=gauge, settings=SOLID).spin


def ring(x: float = 0.0, y: float = 0.0) -> Mesh:
    return moved(mesh_of(drilled(disc(30, 8, 256), 3, 256)), offset=(x, y, 0))


def known_spin(mesh: Mesh) -> Spin:
    found = spin_in(mesh)
    assert isinstance(found, Spin), found
    return found


def test_one_wheel_away_from_the_origin() -> None:
    found = known_spin(ring(70, -20))
    assert found.mass_g == pytest.approx(RING_G, rel=2e-3)
    assert found.inertia_g_mm2 == pytest.approx(RING_G_MM2, rel=2e-3)
    assert found.radius_mm == pytest.approx(30, abs=1e-3)


def test_four_wheels_in_one_file_are_each_the_same() -> None:
    four = [ring(x, y) for x in (0, 65) for y in (0, 65)]
    together = Mesh(
        np.concatenate([each.vertices for each in four]),
        np.concatenate([each.faces + number * len(four[0].vertices) for number, each in enumerate(four)]),
        np.repeat(np.arange(4, dtype=np.int32), len(four[0].faces)),
    )
    found = known_spin(together)
    assert found.mass_g == pytest.approx(RING_G, rel=2e-3)
    assert found.inertia_g_mm2 == pytest.approx(RING_G_MM2, rel=5e-3)
    assert found.radius_mm == pytest.approx(30, abs=1e-3)


def test_without_an_axle_there_is_no_spin() -> None:
    assert isinstance(spin_in(ring(), None), Unknown)
    assert isinstance(spin_in(mesh_of(disc(30, 8))), Unknown)


def test_a_lever_has_its_mass_centre_towards_its_far_end() -> None:
    """A bar 100 x 20 x 10 mm, hole 6 mm through at 20 mm from one end. By hand: the bar's middle is 30 mm from the
    axis; without the drilled pi 9 x 10 = 282.7 mm3 on the axis, 30 x 20000 / 19717.3 = 30.43 mm; towards the far
    corner, 80 mm along and 10 mm aside, 30.43 x 80 / 80.62 = 30.20 mm."""
    bar = moved(mesh_of(drilled(box(100, 20, 10), 3, 256, x=20, y=10)), offset=(7, 3, 0))
    found = known_spin(bar)
    assert found.centre_along_mm == pytest.approx(30.20, abs=0.03)
    assert found.upright
