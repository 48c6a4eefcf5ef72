"""Pins below 3 mm and holes below 2 mm (print-bureau guides in FACTS 3; no standard says so), and where they are."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.check import check_part
from meshcheck.edges import edge_table
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.features import small_features
from meshcheck.holes import find_holes
from meshcheck.report import report_json
from meshcheck.types import Gauge, Level, Mesh, SmallFeature

from .known_parts import KNOWN_PARTS
from .parts import Outline, Solid, box, disc, drilled, mesh_of, moved, random_turn, wheel


def found(mesh: Mesh, gauge_hole_mm: float | None = None) -> tuple[SmallFeature, ...]:
    edges = edge_table(mesh)
    return small_features(mesh, edges, find_holes(mesh, edges), gauge_hole_mm)


def plate_with_pin(diameter: float, length: float = 10, facets: int = 32) -> m3.Manifold:
    return box(30, 20, 3) + disc(diameter / 2, length + 1, facets).translate((8, 6, 2))


@pytest.mark.parametrize("facets", [6, 12, 32, 128])
@pytest.mark.parametrize("diameter", [1.0, 1.8, 2.9])
def test_a_pin_is_measured_and_placed(diameter: float, facets: int) -> None:
    # its corners lie on the circle; it stands 10 mm out of a plate of 3 mm
    pin, *others = found(mesh_of(plate_with_pin(diameter, facets=facets)))
    assert others == []
    assert (pin.kind, pin.diameter_mm, pin.length_mm) == ("pin", pytest.approx(diameter), pytest.approx(10))
    assert pin.place_mm == pytest.approx((8, 6, 8), abs=1e-6)


# a regular ring of n corners on a circle of diameter d is narrowest between a side and what lies opposite:
# n even: d cos(pi/n); n odd: d/2 (1 + cos(pi/n))
@pytest.mark.parametrize(("sides", "share"), [(3, 0.75), (4, np.cos(np.pi / 4)), (5, (1 + np.cos(np.pi / 5)) / 2)])
@pytest.mark.parametrize("seed", [None, 1, 2])
def test_a_pin_of_few_sides_is_found(sides: int, share: float, seed: int | None) -> None:
    mesh = mesh_of(plate_with_pin(2.4, facets=sides))
    rng = np.random.default_rng(seed)
    turn, offset = (np.eye(3), np.zeros(3)) if seed is None else (random_turn(rng), rng.uniform(-50, 50, 3))
    pin, *others = found(moved(mesh, turn, tuple(offset)))
    assert others == []
    assert (pin.kind, pin.diameter_mm, pin.length_mm) == (
        "pin",
        pytest.approx(2.4 * share),
        pytest.approx(10, abs=1e-3),
    )
    assert pin.place_mm == pytest.approx(turn @ np.array([8, 6, 8]) + offset, abs=1e-3)


def test_a_square_pin_may_have_a_point_and_finer_sides() -> None:
    pointed = box(2, 2, 10, (5, 5, 3)) + Solid.hull_points(
        np.array([[5, 5, 13], [7, 5, 13], [5, 7, 13], [7, 7, 13], [6, 6, 14.0]])
    )
    for solid in (box(20, 20, 3) + pointed, (box(20, 20, 3) + pointed).refine(3)):
        (pin,) = found(mesh_of(solid))
        assert (pin.diameter_mm, pin.length_mm) == (pytest.approx(2), pytest.approx(10))


def test_square_things_that_are_no_thin_pins() -> None:
    plate = box(30, 20, 3)
    for other in (
        box(3, 3, 10, (5, 5, 3)),  # thick enough
        box(1, 10, 10, (5, 5, 3)),  # a wall
        box(2, 2, 0.8, (5, 5, 3)),  # a low knob
        box(2, 2, 20, (5, 5, 3)) + box(20, 20, 3, (0, 0, 20)),  # held at both ends
        disc(1, 20, 32).translate((8, 8, 1)) + box(20, 20, 3, (0, 0, 20)),  # the same, round
    ):
        assert found(mesh_of(plate + other)) == ()
    assert found(mesh_of(plate - box(2, 2, 10, (5, 5, -1)))) == ()  # a square hole
    assert found(mesh_of(plate, box(12, 2, 1, (5, 5, 3)))) == ()  # a bar of its own lying on the plate


@pytest.mark.parametrize("diameter", [3.0, 3.01, 5.0])
def test_a_pin_of_3_mm_is_thick_enough(diameter: float) -> None:
    assert found(mesh_of(plate_with_pin(diameter))) == ()


def test_a_low_knob_is_no_pin() -> None:
    assert found(mesh_of(plate_with_pin(2.4, length=1.0))) == ()


def test_the_tip_may_be_chamfered_and_the_pin_turned_any_way() -> None:
    pin = Solid.revolve(Outline([np.array([[0, 0], [1, 0], [1, 8.5], [0.5, 9], [0, 9]])]), 32)
    mesh = mesh_of(box(20, 20, 4, (-10, -10, -3.5)) + pin)
    rng = np.random.default_rng(4)
    for _ in range(10):
        how, offset = random_turn(rng), rng.uniform(-50, 50, 3)
        feature = found(moved(mesh, how, tuple(offset)))[0]
        assert feature.diameter_mm == pytest.approx(2, abs=1e-3)
        assert feature.place_mm == pytest.approx(how @ np.array([0, 0, 4.5]) + offset, abs=1e-2)


def test_rounded_edges_fillets_and_spokes_are_no_pins() -> None:
    rounded = Outline.square((20, 10)).offset(1.0, m3.JoinType.Round, 2.0, 32).extrude(10)
    assert found(mesh_of(rounded)) == ()
    assert found(mesh_of(wheel(web=2.0))) == ()


@pytest.mark.parametrize("name", KNOWN_PARTS)
def test_the_kits_own_parts_have_none_too_small(name: str) -> None:
    assert found(KNOWN_PARTS[name].make()) == ()


@pytest.mark.parametrize(("diameter", "told"), [(1.2, True), (1.99, True), (2.0, False), (3.2, False)])
def test_small_holes(diameter: float, told: bool) -> None:
    features = found(mesh_of(drilled(box(20, 20, 4), diameter / 2, 48, 5, 7)))
    assert bool(features) is told
    if told:
        assert features[0].kind == "hole"
        assert features[0].diameter_mm == pytest.approx(diameter, abs=1e-4)
        assert features[0].place_mm == pytest.approx((5, 7, 2), abs=1e-6)


def test_a_hole_the_gauge_asks_for_is_no_advice() -> None:
    mesh = mesh_of(wheel(bore=1.6))
    assert [f.kind for f in found(mesh)] == ["hole"]
    assert found(mesh, gauge_hole_mm=1.6) == ()


def test_the_check_says_where() -> None:
    solid = drilled(plate_with_pin(1.8), 0.6, 48, 20, 12)
    report = check_part(stl_bytes([PlacedMesh(mesh_of(solid), 0, 0)]), "p.stl", gauge=Gauge())
    told = {f.code: f for f in report.findings if f.level is Level.ADVICE}
    # the file is written with its middle at the origin and its foot on z = 0
    assert told["small_pin"].figure == "1.80 mm at x -7.0, y -4.0, z 8.0, allowed at least 3.00 mm"
    assert told["small_hole"].figure == "1.20 mm at x 5.0, y 2.0, z 1.5, allowed at least 2.00 mm"
    assert [f["kind"] for f in report_json(report)["small_features"]] == ["hole", "pin"]
