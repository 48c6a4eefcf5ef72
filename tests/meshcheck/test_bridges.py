"""Bridges told apart from overhangs; spans and areas are those of the drawing. 10 mm is safe: FACTS 3 (print-bureau
guides; no standard sets it)."""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.overhang import overhang
from meshcheck.types import Mesh

from .parts import Outline, Solid, box, disc, drilled, mesh_of, moved, turn_about_z

TURNS = [0.0, 17.0, 45.0, 73.1]


def bridge(span: float) -> m3.Manifold:
    """Two blocks 10 mm high, ``span`` apart, and a slab 10 mm wide over both."""
    return box(span + 20, 10, 5, (0, 0, 10)) + box(10, 10, 10) + box(10, 10, 10, (span + 10, 0, 0))


def tunnel(width: float) -> m3.Manifold:
    return box(width + 20, 40, 20) - box(width, 60, 10, (10, -10, -1))


def pocket(diameter: float) -> m3.Manifold:
    """A block with a round blind hole from below, 6 mm deep."""
    return drilled(box(40, 40, 20, (-20, -20, 0)), diameter / 2, 96, floor=-5, top=6)


def crossing(width: float) -> m3.Manifold:
    """Two tunnels that cross: in the middle nothing below is nearer than the corners."""
    return (
        box(60, 60, 20, (-30, -30, 0))
        - box(width, 80, 10, (-width / 2, -40, -1))
        - box(80, width, 10, (-40, -width / 2, -1))
    )


# name: solid, spans of its bridges, area of what still needs support, volume of that support
CASES: dict[str, tuple[Callable[[], m3.Manifold], list[float], float, float]] = {
    "8 mm": (lambda: bridge(8), [8.0], 0.0, 0.0),
    "exactly 10 mm": (lambda: bridge(10), [10.0], 0.0, 0.0),
    "10.1 mm": (lambda: bridge(10.1), [], 101.0, 1010.0),
    "30 mm": (lambda: bridge(30), [], 300.0, 3000.0),
    # the short way across counts, though it is 40 long; its ends are open
    "tunnel 9 mm": (lambda: tunnel(9), [9.0], 0.0, 0.0),
    "tunnel 12 mm": (lambda: tunnel(12), [], 480.0, 480.0 * 9),
    "round pocket 8 mm": (lambda: pocket(8), [8.0], 0.0, 0.0),
    # regular 96-gon: area 96 / 2 r^2 sin(2 pi / 96)
    "round pocket 12 mm": (lambda: pocket(12), [], 48 * 36 * np.sin(np.pi / 48), 48 * 36 * np.sin(np.pi / 48) * 6),
    # an underside held at one side only
    "ledge 5 mm": (lambda: box(15, 10, 5, (0, 0, 10)) + box(10, 10, 10), [], 50.0, 500.0),
    # two bridges of one part, the longer first
    "two bridges": (lambda: bridge(6) + bridge(9).translate((0, 20, 0)), [9.0, 6.0], 0.0, 0.0),
    "crossing of 6 mm tunnels": (lambda: crossing(6), [], 2 * 6 * 60 - 36.0, (2 * 6 * 60 - 36) * 9.0),
}


@pytest.mark.parametrize("turned_deg", TURNS)
@pytest.mark.parametrize("name", CASES)
def test_closed_forms(name: str, turned_deg: float) -> None:
    make, spans, area, volume = CASES[name]
    found = overhang(moved(mesh_of(make()), turn_about_z(turned_deg), (12.3, -4.5, 6.7)), watertight=True)
    assert [b.span_mm for b in found.bridges] == pytest.approx(spans, rel=2e-3)
    assert found.overhang_area_mm2 == pytest.approx(area, rel=1e-4)
    assert found.volume_mm3 == pytest.approx(volume, rel=5e-3)


def test_a_counterbore_round_a_through_hole_is_no_bridge() -> None:
    # the ring between 8 and 4 mm hangs on its outside only
    solid = drilled(pocket(8), 2, 96)
    found = overhang(mesh_of(solid), watertight=True)
    assert found.bridges == ()
    assert found.overhang_area_mm2 == pytest.approx(48 * (16 - 4) * np.sin(np.pi / 48), rel=1e-4)


def test_area_and_place_of_a_bridge() -> None:
    found = overhang(mesh_of(bridge(8)), watertight=True).bridges[0]
    assert found.area_mm2 == pytest.approx(80, rel=1e-6)
    assert found.place_mm == pytest.approx((14, 5, 10), abs=1e-6)


def test_the_limit_is_the_callers() -> None:
    mesh = mesh_of(bridge(20))
    assert overhang(mesh, watertight=True).bridges == ()
    assert overhang(mesh, watertight=True, bridge_mm=25).bridges[0].span_mm == pytest.approx(20)
    assert overhang(mesh_of(bridge(5)), watertight=True, bridge_mm=0).overhang_area_mm2 == pytest.approx(50)


def test_many_small_triangles_make_one_bridge() -> None:
    found = overhang(mesh_of(bridge(8).refine(8)), watertight=True)
    assert [b.span_mm for b in found.bridges] == pytest.approx([8.0])


def test_an_arch_is_held_by_its_slopes_but_a_steep_slope_holds_nothing() -> None:
    def roof(slope_deg: float) -> Mesh:
        """A tunnel whose flat top of 6 mm comes down on both sides by 4 mm at ``slope_deg`` from the vertical."""
        out = 4 * np.tan(np.radians(slope_deg))
        hollow = Outline([np.array([[-3 - out, -1], [3 + out, -1], [3 + out, 6], [3, 10], [-3, 10], [-3 - out, 6]])])
        return mesh_of(box(60, 20, 20, (-30, 0, 0)) - hollow.extrude(60).rotate((90, 0, 0)).translate((0, 40, 0)))

    assert [b.span_mm for b in overhang(roof(40), watertight=True).bridges] == pytest.approx([6.0])
    assert overhang(roof(40), watertight=True).overhang_area_mm2 == 0
    assert overhang(roof(60), watertight=True).bridges == ()


def test_random_turns_do_not_change_what_is_a_bridge() -> None:
    rng = np.random.default_rng(8)
    for width in rng.uniform(2, 18, 20):
        mesh = moved(
            mesh_of(tunnel(width).refine(2)), turn_about_z(rng.uniform(0, 360)), tuple(rng.uniform(-90, 90, 3))
        )
        found = overhang(mesh, watertight=True)
        assert bool(found.bridges) is bool(width <= 10)
        assert found.overhang_area_mm2 == pytest.approx(0 if width <= 10 else 40 * width, rel=1e-4)


def test_slabs_without_walls_are_no_bridges() -> None:
    table = box(40, 40, 5, (-20, -20, 20)) + box(10, 10, 20, (-5, -5, 0))
    assert overhang(mesh_of(table), watertight=True).bridges == ()
    mushroom = disc(5, 10) + disc(9, 3).translate((0, 0, 10))
    assert overhang(mesh_of(mushroom), watertight=True).bridges == ()
    assert overhang(mesh_of(Solid.sphere(10, 64).translate((0, 0, 10))), watertight=True).bridges == ()
