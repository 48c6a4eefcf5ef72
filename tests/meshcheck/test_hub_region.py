"""Hubs laid over the kit part's: closed forms, and trimesh's search for nearest points as a second opinion."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from meshcheck.check import check_part
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.holes import find_holes
from meshcheck.hub_region import KitHub, hub_deviation, kit_hub
from meshcheck.nearest import distances, spread_points
from meshcheck.report import report_json
from meshcheck.types import Gauge, Hole, HubDeviation, Level, Mesh, Report, Unknown

from .parts import disc, mesh_of, moved, random_turn, turn_about_z, wheel
from .test_bore_shapes import d_bore, keyed_bore

KIT = {"width": 12.0, "hub_width": 20.0}
NEAR_MM = 2e-3  # facets of bore and hub in another place: 48 and 128 sides


def hub_of(mesh: Mesh) -> Hole:
    (hub,) = [hole for hole in find_holes(mesh) if hole.hub]
    return hub


def kit(solid: m3.Manifold, diameter: float | None = 14.0) -> KitHub:
    mesh = mesh_of(solid)
    return kit_hub(mesh, hub_of(mesh), diameter)


def thrown(solid: m3.Manifold, seed: int) -> Mesh:
    rng = np.random.default_rng(seed)
    return moved(mesh_of(solid), random_turn(rng), tuple(rng.normal(size=3) * 60))


def compared(solid: m3.Manifold, seed: int = 1, of: KitHub | None = None) -> HubDeviation:
    mesh = thrown(solid, seed)
    return hub_deviation(mesh, hub_of(mesh), of or kit(wheel(**KIT)))


@pytest.mark.parametrize("seed", range(6))
def test_the_same_part_turned_and_moved_deviates_by_nothing(seed: int) -> None:
    found = compared(wheel(**KIT), seed)
    assert found.largest_mm < 1e-4  # float32 in the file
    assert found.outside_mm == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("turn", [0.0, 3.0, 17.0, 90.0])
def test_turned_about_its_own_axle(turn: float) -> None:
    mesh = moved(mesh_of(wheel(**KIT)), turn_about_z(turn))
    assert hub_deviation(mesh, hub_of(mesh), kit(wheel(**KIT))).largest_mm < 1e-4


@pytest.mark.parametrize(
    "shape", [{"spokes": 7}, {"spokes": 3, "web": 5.0}, {"spokes": 0}, {"radius": 38.0, "rim": 2.0}]
)
def test_what_a_student_may_redesign_is_no_deviation(shape: dict[str, float]) -> None:
    found = compared(wheel(**{**KIT, **shape}))  # type: ignore[arg-type]
    assert found.largest_mm < NEAR_MM
    assert isinstance(found.outside_mm, Unknown) or abs(found.outside_mm) < 0.01


@pytest.mark.parametrize("change_mm", [-1.5, -0.4, 0.3, 2.0])
def test_a_hub_shorter_or_longer(change_mm: float) -> None:
    found = compared(wheel(width=12, hub_width=20 + change_mm))
    assert found.largest_mm == pytest.approx(abs(change_mm), abs=NEAR_MM)


@pytest.mark.parametrize("change_mm", [-0.8, -0.3, 0.5, 1.0])
def test_a_hub_wider_or_narrower(change_mm: float) -> None:
    # a narrower hub also lacks the outer part of its end faces
    found = compared(wheel(**KIT, hub=7 + change_mm))
    assert found.outside_mm == pytest.approx(change_mm, abs=0.01)
    lacking = max(0.97 * 7 - (7 + change_mm), 0.0)
    assert found.largest_mm == pytest.approx(lacking, abs=max(NEAR_MM, 2e-3 * 7) if lacking else NEAR_MM)


@pytest.mark.parametrize("bore", [3.0, 3.6])
def test_a_bore_narrower_or_wider(bore: float) -> None:
    assert compared(wheel(**KIT, bore=bore)).largest_mm == pytest.approx(abs(bore - 3.2) / 2, abs=NEAR_MM)


def test_a_chamfer_more() -> None:
    # from the edge that was cut away to the cone: c / sqrt(2); the place is on that edge
    mesh = thrown(wheel(**KIT, chamfer=0.8), 3)
    found = hub_deviation(mesh, hub_of(mesh), kit(wheel(**KIT)))
    assert found.largest_mm == pytest.approx(0.8 / np.sqrt(2), abs=5e-3)
    assert found.spacing_mm <= 0.3


def test_the_place_is_where_it_deviates() -> None:
    mesh = thrown(wheel(width=12, hub_width=21.0), 8)
    hub = hub_of(mesh)
    found = hub_deviation(mesh, hub, kit(wheel(**KIT)))
    along = abs(float((np.array(found.place_mm) - np.array(hub.centre_mm)) @ np.array(hub.axis)))
    assert along == pytest.approx(10.5, abs=1.01)


@pytest.mark.parametrize("bore", [d_bore(2.5, 2.0, 64), keyed_bore(2.5, 2, 1, 64)], ids=["D", "keyed"])
def test_the_outline_of_the_bore_tells_the_angle(bore: m3.CrossSection) -> None:
    def part(turn_deg: float, outline: m3.CrossSection) -> m3.Manifold:
        return (wheel(**KIT, bore=0) - outline.extrude(40).translate((0, 0, -5))).rotate((0, 0, turn_deg))

    of = kit(part(0, bore))
    for seed, turn_deg in enumerate((0, 33, 200)):
        assert compared(part(turn_deg, bore), seed, of).largest_mm < 5e-3
    tighter = compared(part(50, d_bore(2.5, 1.6, 64)), 4, kit(part(0, d_bore(2.5, 2.0, 64))))
    assert tighter.largest_mm == pytest.approx(0.4, abs=0.01)


def test_the_hub_is_found_where_no_diameter_is_given() -> None:
    assert kit(wheel(**KIT), None).radius_mm == pytest.approx(7, abs=0.01)
    assert kit(disc(30, 20) - disc(1.6, 60, 48).translate((0, 0, -10)), None).radius_mm == pytest.approx(4, abs=0.01)


def test_one_of_several_parts() -> None:
    four = mesh_of(
        *[wheel(**KIT).translate((65 * k, 0, 0)) for k in range(3)], wheel(width=12, hub_width=19).translate((0, 65, 0))
    )
    found = [hub_deviation(four, hole, kit(wheel(**KIT))).largest_mm for hole in find_holes(four) if hole.hub]
    assert sorted(found) == pytest.approx([0, 0, 0, 1], abs=NEAR_MM)


def test_distances_beside_trimesh() -> None:
    rng = np.random.default_rng(4)
    mesh = mesh_of(wheel(bore_facets=8, facets=16))
    points = rng.uniform(-35, 35, (200, 3))
    points[:50] = mesh.vertices[rng.integers(0, len(mesh.vertices), 50)]
    _, theirs, _ = trimesh.proximity.closest_point_naive(
        trimesh.Trimesh(mesh.vertices, mesh.faces, process=False), points
    )
    assert distances(points, mesh.corners) == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_points_are_spread_so_densely_as_said(seed: int) -> None:
    rng = np.random.default_rng(seed)
    face = rng.normal(size=(1, 3, 3)) * rng.choice([0.2, 2, 20]) * np.array([1, 1, rng.choice([1, 0.01])])
    spread = spread_points(face, 0.5)
    share = rng.dirichlet([1, 1, 1], 2000)
    inside = share @ face[0]
    nearest = np.min(np.linalg.norm(inside[:, None] - spread, axis=2), axis=1)
    assert nearest.max() <= 0.5
    for corner in face[0]:
        assert np.linalg.norm(spread - corner, axis=1).min() < 1e-9


def told(solid: m3.Manifold, kit_solid: m3.Manifold | None = None) -> Report:
    gauge = Gauge(hole_diameter_mm=3.2, hub_diameter_mm=14.0)
    data = stl_bytes([PlacedMesh(mesh_of(solid), 0, 0)])
    return check_part(data, "part.stl", gauge=gauge, kit_mesh=mesh_of(kit_solid or wheel(**KIT)))


def codes(report: Report) -> dict[str, Level]:
    return {finding.code: finding.level for finding in report.findings if finding.code.startswith("hub_")}


def test_the_report_says_it() -> None:
    report = told(wheel(**KIT, spokes=6))
    assert codes(report) == {"hub_kept": Level.PASSES}
    plain = report_json(report)["hub"]
    assert plain["largest_mm"] < NEAR_MM
    assert set(plain) == {"largest_mm", "place_mm", "spacing_mm", "outside_mm"}


def test_what_differs_is_advice() -> None:
    assert codes(told(wheel(width=12, hub_width=19))) == {"hub_changed": Level.ADVICE}
    assert codes(told(wheel(width=12, hub_width=19.9))) == {"hub_kept": Level.PASSES}  # 0.25 mm are allowed
    wider = told(wheel(**KIT, hub=8))
    assert codes(wider) == {"hub_outside_changed": Level.ADVICE}
    (finding,) = [finding for finding in wider.findings if finding.code == "hub_outside_changed"]
    assert finding.figure == "2.00 mm wider across, allowed at most 0.50 mm"


def test_nothing_is_compared_where_nothing_can_be() -> None:
    for report in (told(disc(30, 20)), told(wheel(**KIT, bore=5.5)), told(wheel(**KIT), disc(30, 20))):
        assert codes(report) == {}
        assert isinstance(report.hub, Unknown)
        assert report_json(report)["hub"] is None
