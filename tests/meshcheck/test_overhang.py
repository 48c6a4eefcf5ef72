"""Overhang and support against closed forms; the derivation stands beside every case."""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.columns import solid_spans
from meshcheck.overhang import overhang
from meshcheck.types import Mesh, Unknown

from .parts import Outline, Solid, box, mesh_of, moved, turn_about_z

SPHERE_R = 15.0
CONE_H, CONE_FOOT = 20.0, 2.0


def table() -> m3.Manifold:
    return box(40, 40, 5, (-20, -20, 20)) + box(10, 10, 20, (-5, -5, 0))


def tee() -> m3.Manifold:
    return box(40, 10, 5, (-20, -5, 20)) + box(10, 10, 20, (-5, -5, 0))


def bridge() -> m3.Manifold:
    return box(50, 10, 5, (0, 0, 10)) + box(10, 10, 10) + box(10, 10, 10, (40, 0, 0))


def shelf() -> m3.Manifold:
    """A wall x -20..-10 with a top slab x -20..20 at z 30 and a shelf x -20..0 at z 10..15, all 40 wide."""
    return box(40, 40, 5, (-20, -20, 30)) + box(10, 40, 30, (-20, -20, 0)) + box(20, 40, 5, (-20, -20, 10))


def cone(angle_deg: float) -> m3.Manifold:
    """Standing on its small end, its side leaning out by ``angle_deg`` from the vertical."""
    return Solid.cylinder(CONE_H, CONE_FOOT, CONE_FOOT + CONE_H * np.tan(np.radians(angle_deg)), 512)


def cone_50() -> tuple[float, float]:
    """Area of the frustum's side, pi (r1 + r2) s; support = enclosing cylinder less the frustum."""
    r1, r2 = CONE_FOOT, CONE_FOOT + CONE_H * np.tan(np.radians(50))
    side = np.pi * (r1 + r2) * np.hypot(CONE_H, r2 - r1)
    return float(side), float(np.pi * r2**2 * CONE_H - np.pi * CONE_H / 3 * (r1 * r1 + r1 * r2 + r2 * r2))


def ball() -> m3.Manifold:
    """A turned half circle of 256 sides: one of its rings lies at exactly 45 degrees."""
    angle = np.linspace(-np.pi / 2, np.pi / 2, 257)
    half = SPHERE_R * np.column_stack([np.cos(angle), np.sin(angle)])
    return Solid.revolve(Outline([half]), 512).translate((0, 0, SPHERE_R))


def sphere_on_bed() -> tuple[float, float]:
    """The cap below 45 degrees: area 2 pi R^2 (1 - cos 45). Support below the sphere over the disc of radius
    a = R sin 45: integral of R - sqrt(R^2 - r^2) = pi a^2 R - 2 pi / 3 (R^3 - (R^2 - a^2)^(3/2))."""
    r, a = SPHERE_R, SPHERE_R * np.sin(np.pi / 4)
    area = 2 * np.pi * r * r * (1 - np.cos(np.pi / 4))
    return float(area), float(np.pi * a**2 * r - 2 * np.pi / 3 * (r**3 - (r * r - a * a) ** 1.5))


# name: solid, overhang area, support volume, share on the part
CASES: dict[str, tuple[Callable[[], m3.Manifold], float, float, float]] = {
    # (40 x 40 - 10 x 10) under the top, 20 high
    "table": (table, 1500.0, 1500.0 * 20, 0.0),
    # (40 - 10) x 10, 20 high
    "T": (tee, 300.0, 300.0 * 20, 0.0),
    # 30 x 10 span, 10 high
    "bridge": (bridge, 300.0, 300.0 * 10, 0.0),
    # top: 30 x 40, of which 10 x 40 stands 15 high on the shelf and 20 x 40 stands 30 high on the bed;
    # shelf: 10 x 40, 10 high on the bed
    "shelf over shelf": (shelf, 1200.0 + 400.0, 400 * 15 + 800 * 30 + 400 * 10, 400 * 15),
    "cone 40": (lambda: cone(40), 0.0, 0.0, 0.0),
    "cone 50": (lambda: cone(50), *cone_50(), 0.0),
    "sphere": (ball, *sphere_on_bed(), 0.0),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("angle_deg", [0, 17, 31.7, 45, 73.1, 90])
def test_closed_forms(name: str, angle_deg: float) -> None:
    make, area, volume, on_part = CASES[name]
    found = overhang(moved(mesh_of(make()), turn_about_z(angle_deg), (31.4, -7.7, 3.3)), watertight=True)
    exact = name not in ("sphere", "cone 50")  # those are facets standing for round shapes
    assert found.overhang_area_mm2 == pytest.approx(area, rel=1e-6 if exact else 2e-3)
    assert found.volume_mm3 == pytest.approx(volume, rel=5e-3)
    assert found.on_part_mm3 == pytest.approx(on_part, rel=5e-3)
    assert (len(found.overhang_faces) == 0) == (area == 0)


def test_exactly_45_degrees_never_counts() -> None:
    # cross-sections with sides at exactly 45 degrees, sheared along y so that facets come in many sizes
    roof = Outline([np.array([[0, 0], [10, 0], [30, 20], [30, 23], [-20, 23], [-20, 20]])])
    solid = roof.extrude(40).rotate((90, 0, 0)).refine(3)
    rng = np.random.default_rng(45)
    for angle in rng.uniform(0, 360, 200):
        place = tuple(rng.uniform(-200, 200, 3))
        found = overhang(moved(mesh_of(solid), turn_about_z(angle), place), watertight=True)
        assert found.overhang_area_mm2 == 0.0


@pytest.mark.parametrize(("limit", "flagged"), [(44.9, True), (45.1, False)])
def test_a_tenth_of_a_degree_decides(limit: float, flagged: bool) -> None:
    found = overhang(mesh_of(cone(45)), limit, watertight=True)
    assert (found.overhang_area_mm2 > 0) is flagged


def test_resting_on_the_bed_needs_nothing() -> None:
    lifted_by_rounding = moved(mesh_of(box(20, 20, 10)), np.array([[1, 0, 0], [0, 1, 0], [1e-4, 0, 1.0]]))
    assert overhang(lifted_by_rounding, watertight=True).overhang_area_mm2 == 0


def test_sizes_that_are_no_multiple_of_the_column() -> None:
    # 10.13 mm wide: without the turned grid a whole row of columns would be won or lost (1.2 %)
    solid = box(40, 10.13, 5, (-20, -5, 20)) + box(10, 10.13, 20, (-5, -5, 0))
    assert overhang(mesh_of(solid), watertight=True).volume_mm3 == pytest.approx(30 * 10.13 * 20, rel=5e-3)


def test_overlapping_bodies_hide_each_others_undersides() -> None:
    # a slab from z 5 to 10 whose middle third is buried in a block 0..8: only the free 2 x 10 x 10 need support
    mesh = mesh_of(box(30, 10, 5, (-15, -5, 5)), box(10, 10, 8, (-5, -5, 0)))
    assert overhang(mesh, watertight=True).volume_mm3 == pytest.approx(2 * 10 * 10 * 5, rel=5e-3)


def test_big_parts_use_wider_columns_and_stay_right() -> None:
    solid = box(800, 800, 5, (0, 0, 20)) + box(10, 10, 20)
    mesh = mesh_of(solid)
    assert solid_spans(mesh.vertices, mesh.faces).pitch_mm > 0.25
    assert overhang(mesh, watertight=True).volume_mm3 == pytest.approx((800 * 800 - 100) * 20, rel=5e-3)


def test_an_open_skin_has_an_area_but_no_volume() -> None:
    whole = mesh_of(table())
    found = overhang(Mesh(whole.vertices, whole.faces[:-1], whole.body[:-1]), watertight=False)
    assert isinstance(found.volume_mm3, Unknown)
    assert isinstance(found.on_part_mm3, Unknown)
    assert found.overhang_area_mm2 > 0


def test_faces_turned_the_wrong_way_are_noticed() -> None:
    whole = mesh_of(table())
    faces = whole.faces.copy()
    top = np.flatnonzero((whole.corners[:, :, 2] == 25).all(axis=1))
    faces[top] = faces[top][:, ::-1]
    found = overhang(Mesh(whole.vertices, faces, whole.body), watertight=True)
    assert isinstance(found.volume_mm3, Unknown)


def test_columns_add_up_to_the_volume() -> None:
    # torus R 20 r 5: V = 2 pi^2 R r^2 = 9869.6 (closed form); along all three axes
    mesh = mesh_of(Solid.revolve(Outline.circle(5, 128).translate((20, 0)), 512))
    for axis in range(3):
        spans = solid_spans(mesh.vertices, mesh.faces, axis=axis)
        assert spans.unbalanced == 0
        assert ((spans.high_mm - spans.low_mm).sum() * spans.pitch_mm**2) == pytest.approx(9869.6044, rel=2e-3)
        assert np.abs(spans.cross_mm).max() <= 25


def test_a_column_through_many_sheets_stays_in_order() -> None:
    # 100 sheets of 0.3 mm, a millimetre apart, handed over in shuffled order: every column crosses all of them
    order = np.random.default_rng(5).permutation(100)
    mesh = mesh_of(*[box(10, 10, 0.3, (0, 0, float(k))) for k in order])
    spans = solid_spans(mesh.vertices, mesh.faces, pitch_mm=1.0)
    assert len(spans.column) == 100 * spans.columns
    assert np.allclose(spans.high_mm - spans.low_mm, 0.3, atol=1e-4)
    assert (np.diff(spans.low_mm.reshape(-1, 100), axis=1) > 0).all()


def test_an_empty_mesh_needs_nothing() -> None:
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), np.zeros(0, np.int32))
    assert overhang(nothing, watertight=True).overhang_area_mm2 == 0
