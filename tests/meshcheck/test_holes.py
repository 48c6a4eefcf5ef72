"""Holes of parts whose every measure is known because the test made them.

A polygon of n corners on a circle of diameter d lets a bar of d cos(pi / n) pass (its apothem).
"""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.holes import find_holes
from meshcheck.types import FloatArray, Hole, Mesh, Unknown, known
from meshcheck.types.bore import BoreKind

from .parts import Outline, Solid, box, disc, drilled, mesh_of, moved, random_turn, wheel

DIAMETER_MM, FREE_MM, DEPTH_MM = 1e-4, 1e-3, 1e-3


def turned(mesh: Mesh, seed: int = 3, spread: float = 50.0) -> Mesh:
    rng = np.random.default_rng(seed)
    return moved(mesh, random_turn(rng), tuple(rng.normal(size=3) * spread))


def hubs(mesh: Mesh) -> list[Hole]:
    return [hole for hole in find_holes(mesh) if hole.hub]


def only_hub(mesh: Mesh) -> Hole:
    (hub,) = hubs(mesh)
    return hub


def agrees(hole: Hole, diameter: float, facets: int, depth: float, through: bool, eccentricity: float = 0.0) -> None:
    assert hole.diameter_mm == pytest.approx(diameter, abs=DIAMETER_MM)
    assert hole.free_diameter_mm == pytest.approx(diameter * np.cos(np.pi / facets), abs=FREE_MM)
    assert hole.depth_mm == pytest.approx(depth, abs=DEPTH_MM)
    assert hole.through is through
    assert known(hole.eccentricity_mm) == pytest.approx(eccentricity, abs=FREE_MM)
    assert hole.certain


@pytest.mark.parametrize("facets", [6, 7, 8, 12, 24, 48, 96, 200, 360])
def test_a_hole_of_any_number_of_sides(facets: int) -> None:
    hole = only_hub(turned(mesh_of(wheel(bore_facets=facets)), facets))
    agrees(hole, 3.2, facets, 20, True)
    assert hole.facets == facets
    assert hole.rim_diameter_mm == pytest.approx(60, abs=1e-3)
    assert hole.roundness_mm < 1e-3


def random_wheel(rng: np.random.Generator) -> tuple[m3.Manifold, dict[str, float], int, bool]:
    """A wheel of random shape with what its hub hole must measure, its sides, and whether it goes through."""
    radius, width, bore = rng.uniform(15, 40), rng.uniform(6, 25), rng.uniform(2, 8)
    spokes = 0 if rng.random() < 0.25 else int(rng.integers(3, 9))
    facets = int(rng.choice([8, 10, 12, 16, 24, 32, 48, 64, 96, 128]))
    hub, hub_width = bore / 2 + rng.uniform(1.5, 4), width * (1 if rng.random() < 0.5 else rng.uniform(1.05, 1.5))
    blind, chamfer = rng.random() < 0.25, 0.8 if rng.random() < 0.3 else 0.0
    floor = width * 0.3 if blind else None
    eccentricity = 0.0 if rng.random() < 0.5 else float(rng.uniform(0.05, 0.6))
    holes = 5 if spokes == 0 and radius - hub > 6 else 0
    solid = wheel(
        radius, width, bore, spokes=spokes, facets=int(rng.choice([32, 48, 64, 96, 128, 200])), bore_facets=facets,
        hub=hub, rim=rng.uniform(2, 0.35 * radius), web=2.5, hub_width=hub_width, spoke_width=0.8 * width,
        floor=floor, eccentricity=eccentricity, lightening=holes, chamfer=chamfer, turned_deg=rng.uniform(0, 360),
    )  # fmt: skip
    depth = hub_width - (floor or 0.0) - chamfer
    return solid, {"diameter": bore, "depth": depth, "eccentricity": eccentricity}, facets, not blind


@pytest.mark.parametrize("seed", range(40))
def test_random_wheels_anywhere_and_anyhow(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    solid, measures, facets, through = random_wheel(rng)
    copies = 4 if rng.random() < 0.2 else 1
    mesh = mesh_of(*[solid.translate((100 * (k % 2), 100 * (k // 2), 0)) for k in range(copies)])
    found = hubs(moved(mesh, random_turn(rng), tuple(rng.normal(size=3) * rng.choice([0, 50, 500]))))
    assert len(found) == copies
    for hole in found:
        agrees(hole, facets=facets, through=through, **measures)


@pytest.mark.parametrize("factor", [25.4, 1 / 25.4, 10, 0.1, 0.5])
def test_any_scale(factor: float) -> None:
    whole = turned(mesh_of(wheel()))
    hole = only_hub(Mesh(whole.vertices * factor, whole.faces, whole.body))
    assert hole.diameter_mm / factor == pytest.approx(3.2, abs=DIAMETER_MM)


def test_the_hub_comes_first_and_the_others_are_listed() -> None:
    found = find_holes(turned(mesh_of(wheel(spokes=0, lightening=5))))
    assert [hole.hub for hole in found] == [True] + [False] * 5
    assert found[0].diameter_mm == pytest.approx(3.2, abs=DIAMETER_MM)
    for hole in found[1:]:
        assert hole.diameter_mm == pytest.approx(4.4, abs=DIAMETER_MM)
        assert known(hole.eccentricity_mm) == pytest.approx((7 + 30) / 2, abs=1e-3)  # halfway from hub to rim


def test_a_blind_hole_above_the_rim_in_a_tight_hub_belongs_to_the_wheel() -> None:
    hole = only_hub(turned(mesh_of(wheel(40, 4, 5.06, hub=4.94, hub_width=9.5, floor=4.2))))
    agrees(hole, 5.06, 48, 5.3, False)
    assert known(hole.rim_diameter_mm) == pytest.approx(80, abs=0.01)


@pytest.mark.parametrize("step", [(65, 0, 0), (0, 0, 22), (61, 0, 22)])
def test_four_wheels_in_a_file_however_they_lie(step: tuple[float, float, float]) -> None:
    bores = (3.0, 3.1, 3.2, 3.3)
    wheels = [wheel(bore=b).translate(tuple(k * s for s in step)) for k, b in enumerate(bores)]
    found = hubs(turned(mesh_of(*wheels)))
    assert sorted(round(hole.diameter_mm, 3) for hole in found) == list(bores)
    assert {hole.rim for hole in found} == {0, 1, 2, 3}


def tread(lugs: int) -> m3.Manifold:
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 30 + 1.5 * np.sign(np.sin(lugs * angle))
    outline = Outline([np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])])
    return drilled(outline.extrude(20), 1.6, 48)


def balloon_tyre() -> m3.Manifold:
    tyre = Solid.revolve(Outline.circle(8, 48).translate((24, 0)), 128)
    return drilled(tyre + disc(20, 6).translate((0, 0, -3)) + disc(6, 16).translate((0, 0, -8)), 1.6, 48)


def rim_at_one_end() -> m3.Manifold:
    ring = (Outline.circle(30, 128) - Outline.circle(6, 128)).extrude(3)
    return drilled(disc(7, 30) + ring, 1.6, 48)


ODD_WHEELS: dict[str, tuple[Callable[[], m3.Manifold], float]] = {
    "treads, no cylinder outside": (lambda: tread(24), 63.0),
    "tyre of round section": (lambda: balloon_tyre(), 64.0),
    "narrow rim at one end of a long hub": (lambda: rim_at_one_end(), 60.0),
    "dish": (lambda: wheel(spoke_width=8), 60.0),
    "finely divided": (lambda: wheel().refine_to_length(2.0), 60.0),
    "groove in the bore": (lambda: wheel() - disc(3, 4, 48).translate((0, 0, 8)), 60.0),
    "cross hole": (lambda: wheel() - Solid.cylinder(40, 1, 1, 32).rotate((0, 90, 0)).translate((0, 0, 10)), 60.0),
}


@pytest.mark.parametrize("name", ODD_WHEELS)
def test_wheels_of_other_kinds(name: str) -> None:
    solid, rim = ODD_WHEELS[name]
    hole = only_hub(turned(mesh_of(solid())))
    assert hole.diameter_mm == pytest.approx(3.2, abs=DIAMETER_MM)
    assert hole.through
    assert known(hole.eccentricity_mm) == pytest.approx(0, abs=0.01)
    assert known(hole.rim_diameter_mm) == pytest.approx(rim, abs=0.01)


NO_HUB: dict[str, Callable[[], m3.Manifold]] = {
    "filled": lambda: wheel(bore=0),
    "filled, spokes narrower than the rim": lambda: wheel(bore=0, spoke_width=8),
    "filled, with lightening holes": lambda: wheel(bore=0, spokes=0, lightening=5),
    "solid disc": lambda: disc(30, 10),
    "cube": lambda: box(20, 20, 20),
    "ball": lambda: Solid.sphere(10, 64),
    "sealed hollow": lambda: disc(30, 20) - disc(5, 5).translate((0, 0, 7)),
    "ring": lambda: drilled(disc(10, 5), 7, 64),
    "dent from a ball": lambda: disc(30, 20) - Solid.sphere(5, 64).translate((0, 0, 20)),
    "countersink alone": lambda: disc(30, 20) - Solid.cylinder(5, 0.1, 5, 64).translate((0, 0, 15.001)),
}


@pytest.mark.parametrize("name", NO_HUB)
def test_no_hub_hole_is_invented(name: str) -> None:
    assert hubs(turned(mesh_of(NO_HUB[name]()))) == []


def test_the_inside_of_a_rim_is_no_hole() -> None:
    assert find_holes(turned(mesh_of(wheel(bore=0, spoke_width=8)))) == ()
    wide = find_holes(
        turned(mesh_of(wheel(bore=0, spokes=0, rim=4) - disc(26, 8).translate((0, 0, 14)))), keep_wide=True
    )
    assert [round(hole.diameter_mm, 2) for hole in wide] == [52.0]


def drill_tip() -> m3.Manifold:
    """Blind, ending in the 118 degree cone of a drill (common practice, no source)."""
    tip = 1.6 / np.tan(np.radians(59))
    return drilled(disc(30, 20), 1.6, 48, floor=8) - Solid.cylinder(tip, 0, 1.6, 48).translate((0, 0, 8 - tip))


ENDS: dict[str, tuple[Callable[[], m3.Manifold], bool, float]] = {
    "through": (lambda: wheel(), True, 20),
    "flat floor": (lambda: wheel(floor=6), False, 14),
    "drill tip": (lambda: drill_tip(), False, 12),
    "counterbore": (lambda: drilled(wheel(hub=9), 3, 64, floor=15), True, 15),
    "chamfer at the open end": (lambda: wheel(chamfer=0.8), True, 19.2),
}


@pytest.mark.parametrize("name", ENDS)
def test_through_or_blind(name: str) -> None:
    solid, through, depth = ENDS[name]
    hole = only_hub(turned(mesh_of(solid())))
    assert hole.through is through
    assert hole.depth_mm == pytest.approx(depth, abs=DEPTH_MM)
    assert not hole.obstructed


def test_a_far_wall_does_not_close_a_hole() -> None:
    # a fork: the hole goes through one cheek only, the other stands 8 mm behind
    fork = box(20, 20, 4, (-10, -10, 0)) + box(20, 2, 16, (-10, 8, 0)) + box(20, 20, 4, (-10, -10, 12))
    (hole,) = find_holes(turned(mesh_of(drilled(fork, 1.6, 48, floor=-1, top=6))))
    assert hole.through
    assert hole.depth_mm == pytest.approx(4, abs=DEPTH_MM)
    assert isinstance(hole.eccentricity_mm, Unknown)


def test_overlapping_shells_and_a_bar_across() -> None:
    shells = [(Outline.circle(30, 128) - Outline.circle(26, 128)).extrude(20), drilled(disc(7, 20, 64), 1.6, 64)]
    shells += [Outline.square((20.6, 3)).translate((6.5, -1.5)).rotate(120 * k).extrude(18) for k in range(3)]
    hole = only_hub(turned(mesh_of(*shells)))
    assert hole.through
    assert hole.rim_diameter_mm == pytest.approx(60, abs=1e-3)
    blocked = only_hub(turned(mesh_of(*shells, box(50, 2, 3, (-25, -1, 8)))))
    assert blocked.obstructed
    assert not blocked.through


def test_a_stretched_hole_tells_both_diameters() -> None:
    whole = mesh_of(wheel())
    stretch: FloatArray = np.diag([1.05, 1.0, 1.0])
    hole = only_hub(moved(whole, random_turn(np.random.default_rng(1)) @ stretch))
    assert hole.diameters_mm == pytest.approx((3.2, 3.2 * 1.05), abs=1e-3)
    # the corner at the end of the short axis stays, its two sides lean: between the apothem and the half-width
    assert 3.2 * np.cos(np.pi / 48) <= hole.free_diameter_mm <= 3.2


def test_a_flat_on_the_bore_lets_a_smaller_bar_pass() -> None:
    # a D: circle of 3.2 mm cut by a flat 1.1 mm from its middle; the largest bar has 1.1 + 1.6 mm
    d = Outline.circle(1.6, 96) - Outline.square((4, 4)).translate((1.1, -2))
    hole = only_hub(turned(mesh_of(disc(30, 20) - d.extrude(30).translate((0, 0, -2)))))
    assert hole.diameter_mm == pytest.approx(3.2, abs=2e-3)
    assert hole.free_diameter_mm == pytest.approx(2.7, abs=5e-3)


def test_two_decimals_are_enough() -> None:
    whole = turned(mesh_of(wheel()), spread=5)
    hole = only_hub(Mesh(np.round(whole.vertices, 2), whole.faces, whole.body))
    assert hole.diameter_mm == pytest.approx(3.2, abs=0.01)
    assert hole.depth_mm == pytest.approx(20, abs=0.02)


@pytest.mark.parametrize("facets", [24, 48, 96])
@pytest.mark.parametrize("noise_mm", [0.002, 0.005, 0.01, 0.02])
@pytest.mark.parametrize("solid", [{}, {"spokes": 0}, {"floor": 6.0}], ids=["spokes", "disc", "blind"])
def test_uneven_walls_are_measured_and_flagged(facets: int, noise_mm: float, solid: dict[str, float]) -> None:
    # every vertex off by a normal error in each direction: the mean over n corners is good to about noise / sqrt(n)
    rng = np.random.default_rng(facets)
    smooth = mesh_of(wheel(bore_facets=facets, **solid))  # type: ignore[arg-type]
    rough = Mesh(smooth.vertices + rng.normal(size=smooth.vertices.shape) * noise_mm, smooth.faces, smooth.body)
    hole = only_hub(turned(rough, facets))
    assert hole.diameter_mm == pytest.approx(3.2, abs=max(1e-3, 4 * noise_mm / np.sqrt(facets)))
    assert hole.depth_mm == pytest.approx(20 - solid.get("floor", 0.0), abs=8 * noise_mm)  # extremes at both ends
    assert hole.through is ("floor" not in solid)
    # what passes is never overstated by more than the noise; understated by some noise and the sag of a side
    apothem = np.cos(np.pi / facets)
    assert -8 * noise_mm - 3.2 * (1 - apothem) < hole.free_diameter_mm - 3.2 * apothem < noise_mm
    assert hole.certain is False or noise_mm < 0.01


def test_a_finely_divided_uneven_wall() -> None:
    smooth = mesh_of(wheel().refine_to_length(2.0))
    rng = np.random.default_rng(2)
    rough = Mesh(smooth.vertices + rng.normal(size=smooth.vertices.shape) * 0.01, smooth.faces, smooth.body)
    hole = only_hub(turned(rough))
    assert hole.diameter_mm == pytest.approx(3.2, abs=0.01)
    assert not hole.certain


def test_a_square_hole_is_described_by_its_corners_and_its_bar() -> None:
    square = Outline.circle(1.6, 4).extrude(30).translate((0, 0, -2))
    hole = only_hub(turned(mesh_of(disc(30, 20) - square)))
    assert hole.diameter_mm == pytest.approx(3.2, abs=1e-3)
    assert hole.free_diameter_mm == pytest.approx(3.2 / np.sqrt(2), abs=1e-3)
    assert hole.shape.kind is BoreKind.SQUARE


def test_an_empty_mesh_has_no_holes() -> None:
    assert find_holes(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), np.zeros(0, np.int32))) == ()
