"""The thinnest wall of parts whose walls are known because the test made them."""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.types import Mesh, Unknown, Walls
from meshcheck.walls import thin_walls

from .parts import Outline, Solid, box, disc, drilled, mesh_of, moved, random_turn, wheel

LIMIT_MM = 0.84  # two lines of 0.42 mm
ACCURACY_MM = 0.01
WIDTHS = (0.42, 0.6, 0.8, 0.84, 1.0, 1.2, 1.6, 2.0, 3.0)


def plate(t: float) -> m3.Manifold:
    return box(40, t, 20)


def tube(t: float) -> m3.Manifold:
    return drilled(disc(10, 20), 10 - t, 128)


def web(t: float) -> m3.Manifold:
    return wheel(web=t)


def dish(t: float) -> m3.Manifold:
    return wheel(spokes=7, spoke_width=t)


def roof(t: float) -> m3.Manifold:
    """A closed box with sides and floor of 3 mm and more, and a lid of t."""
    return box(30, 30, 10) - box(22, 22, 6.5 - t, (4, 4, 3.5))


@pytest.mark.parametrize("make", [plate, tube, web, dish, roof])
@pytest.mark.parametrize("width", WIDTHS)
def test_walls_in_any_direction(make, width: float) -> None:  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(round(width * 100))
    upright = mesh_of(make(width))
    for mesh in (upright, moved(upright, random_turn(rng), tuple(rng.normal(size=3) * 50))):
        found = thin_walls(mesh, LIMIT_MM)
        assert found.thinnest_mm == pytest.approx(width, abs=ACCURACY_MM)
        assert (len(found.faces) > 0) is (width < LIMIT_MM - ACCURACY_MM) or abs(width - LIMIT_MM) < ACCURACY_MM


NO_WALL: dict[str, Callable[[], m3.Manifold]] = {
    "cube": lambda: box(20, 20, 20),
    "prism of 45 degrees": lambda: Outline([np.array([[0, 0], [40, 0], [20, 20.0]])]).extrude(10),
    "prism of 19 degrees": lambda: Outline([np.array([[0, 0], [40, 0], [20, 7.0]])]).extrude(10),
    "cone": lambda: Solid.cylinder(20, 10, 0, 64),
    "ball": lambda: Solid.sphere(10, 64),
    "ring of round section": lambda: Solid.revolve(Outline.circle(8, 48).translate((24, 0)), 128),
    "chamfered bore": lambda: wheel(spokes=0, chamfer=0.8),
    "bore chamfered to a knife edge": lambda: wheel(spokes=0, hub=2.4, chamfer=0.8),
    "block with a step": lambda: box(20, 20, 10) + box(10, 20, 10.3),
    "narrow slot": lambda: box(20, 20, 10) - box(0.4, 30, 5, (10, -5, 6)),
    "pyramid": lambda: m3.Manifold.hull_points(np.array([[0, 0, 0], [20, 0, 0], [0, 20, 0], [0, 0, 20.0]])),
}


@pytest.mark.parametrize("name", NO_WALL)
def test_no_false_alarm(name: str) -> None:
    upright = mesh_of(NO_WALL[name]())
    rng = np.random.default_rng(len(name))
    for turn in (None, *(random_turn(rng) for _ in range(6))):
        found = thin_walls(moved(upright, turn), LIMIT_MM)
        assert len(found.faces) == 0
        assert isinstance(found.thinnest_mm, Unknown) or found.thinnest_mm > 1.9


def test_the_place_lies_in_the_wall() -> None:
    solid = box(30, 30, 10) + box(0.6, 30, 20, (12, 0, 0))
    mesh = mesh_of(solid)
    found = thin_walls(mesh, LIMIT_MM)
    assert found.place_mm is not None
    x, _, z = found.place_mm
    assert x == pytest.approx(12.3, abs=0.01)
    assert 10 < z < 20
    seen = mesh.corners[found.faces]
    assert set(np.round(np.unique(seen[:, :, 0]), 3)) == {12.0, 12.6}  # its two sides and nothing else


def test_a_wedge_is_thin_where_it_is_thin() -> None:
    # 0.2 mm growing to 3 mm over 40 mm, an angle of 4 degrees
    wedge = Outline([np.array([[0, 0], [40, 0], [40, 3.0], [0, 0.2]])]).extrude(10)
    found = thin_walls(mesh_of(wedge), LIMIT_MM)
    assert found.thinnest_mm == pytest.approx(0.2, abs=ACCURACY_MM)


def test_a_thin_pin_is_found() -> None:
    # 24 sides across 0.8 mm: 0.8 cos(7.5 deg) = 0.793 between sides, a little less to a neighbouring side
    solid = box(10, 10, 3) + disc(0.4, 8, 24).translate((5, 5, 0))
    rng = np.random.default_rng(4)
    for turn in (None, random_turn(rng), random_turn(rng)):
        found = thin_walls(moved(mesh_of(solid), turn), LIMIT_MM)
        assert found.thinnest_mm == pytest.approx(0.793, abs=0.03)


def test_overlapping_bodies_are_one_wall() -> None:
    # two plates of 0.6 mm, 0.5 mm of them in each other: together 0.7 mm
    found = thin_walls(mesh_of(plate(0.6), plate(0.6).translate((0, 0.1, 0))), LIMIT_MM)
    assert found.thinnest_mm == pytest.approx(0.7, abs=ACCURACY_MM)


def test_a_torn_skin_is_not_guessed_at() -> None:
    whole = mesh_of(plate(0.6))
    torn = Mesh(whole.vertices, whole.faces[2:], whole.body[2:])
    assert isinstance(thin_walls(torn, LIMIT_MM).thinnest_mm, Unknown)
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), np.zeros(0, np.int32))
    found: Walls = thin_walls(nothing, LIMIT_MM)
    assert isinstance(found.thinnest_mm, Unknown)
    assert found.place_mm is None
