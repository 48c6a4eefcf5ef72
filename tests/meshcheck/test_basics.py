"""Volume, area, centre and inertia against closed forms (FACTS section 7) and two other libraries."""

from __future__ import annotations

import math
from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest
import stl
import trimesh

from meshcheck.basics import inertia_kg_m2, measure, union_overlapping
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.types import Basics, FloatArray, Mesh, RawMesh, Unit, Unknown, known
from tests.meshcheck.badfiles import binary_stl, corners_of
from tests.meshcheck.parts import box, random_turn, wheel

MM = Unit.MILLIMETRE


def basics_of(corners: FloatArray) -> Basics:
    return measure(*repair(RawMesh(np.asarray(corners, np.float64), "stl-binary"), MM))


def prism(outer_mm: float, inner_mm: float, height_mm: float, facets: int) -> FloatArray:
    ring = m3.CrossSection.circle(outer_mm, facets) - m3.CrossSection.circle(inner_mm, facets)
    return corners_of(ring.extrude(height_mm))


def ngon_share(facets: int) -> float:
    """Area of the inscribed regular polygon over the circle's: n / (2 pi) sin(2 pi / n) (FACTS 7, row ngon)."""
    return facets / (2 * math.pi) * math.sin(2 * math.pi / facets)


def solid_of(shape: trimesh.Trimesh) -> FloatArray:
    return np.asarray(shape.triangles)


@pytest.mark.parametrize(
    ("facets", "share"), [(16, 0.974495), (32, 0.993587), (64, 0.998394), (128, 0.999598)], ids=str
)
def test_polygon_share_is_the_tables(facets: int, share: float) -> None:
    # FACTS 7, row ngon; measured on a drum of radius 10 and height 7, closed form pi r^2 h
    assert ngon_share(facets) == pytest.approx(share, abs=5e-7)
    volume = known(basics_of(prism(10, 0, 7, facets)).volume_mm3)
    assert volume == pytest.approx(ngon_share(facets) * math.pi * 100 * 7, rel=1e-6)


def test_cube_of_twenty() -> None:
    # closed form a^3, 6 a^2; inertia about the centre m a^2 / 6
    basics = basics_of(corners_of(box(20, 20, 20, at=(5, -3, 40))))
    assert basics.volume_mm3 == pytest.approx(8000, rel=1e-12)
    assert basics.area_mm2 == pytest.approx(2400, rel=1e-12)
    assert basics.size_mm == pytest.approx((20, 20, 20))
    assert basics.centre_of_mass_mm == pytest.approx((15, 7, 50))
    assert np.array(basics.inertia_mm5) == pytest.approx(np.eye(3) * 8000 * 400 / 6, abs=1e-6)


def test_ball_of_1280_faces() -> None:
    # FACTS 7, row sph: trimesh icosphere(3) of r 10 has V 4152.7408, that is 0.99139 of 4/3 pi r^3
    basics = basics_of(solid_of(trimesh.creation.icosphere(3, 10)))
    assert basics.volume_mm3 == pytest.approx(4152.7408, abs=5e-5)
    assert known(basics.volume_mm3) / (4 / 3 * math.pi * 1000) == pytest.approx(0.99139, abs=5e-6)  # type: ignore[operator]


def test_ball_torus_and_frustum_approach_their_closed_forms() -> None:
    # FACTS 7, rows sph, tor (2 pi^2 R r^2, 4 pi^2 R r), fru (pi h / 3 (R^2 + R r + r^2); total area 1005.3096)
    ball = basics_of(solid_of(trimesh.creation.icosphere(6, 10)))
    torus = basics_of(solid_of(trimesh.creation.torus(20, 5, 400, 200)))
    frustum = basics_of(corners_of(m3.Manifold.cylinder(12, 10, 5, 2000)))
    for basics, volume_mm3, area_mm2 in (
        (ball, 4188.7902, 1256.6371),
        (torus, 9869.6044, 3947.8418),
        (frustum, 2199.1149, 1005.3096),
    ):
        assert basics.volume_mm3 == pytest.approx(volume_mm3, rel=3e-4)
        assert known(basics.volume_mm3) < volume_mm3  # type: ignore[operator]  # all corners lie on the surface
        assert basics.area_mm2 == pytest.approx(area_mm2, rel=3e-4)


def test_halving_the_facets_error_quarters() -> None:
    # inscribed polygons converge with the square of the facet count: 2 pi^2 R r^2 from below
    errors = [
        9869.6044 - known(basics_of(solid_of(trimesh.creation.torus(20, 5, 2 * n, n))).volume_mm3) for n in (40, 80)
    ]  # type: ignore[operator]
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.01)


def test_tube_and_its_moment_of_inertia() -> None:
    # FACTS 7, row tube-mesh: annulus 3, 15, 8 of 128 facets V 5426.4922, Izz / V 116.953 (exact 117 = (R^2 + r^2) / 2);
    # row tube: exact V 5428.6721, PLA of 1.24 g/cm3 6.7316 g, Izz 787.592 g mm2
    basics = basics_of(prism(15, 3, 8, 128))
    assert basics.volume_mm3 == pytest.approx(5426.4922, abs=2e-3)
    inertia = np.array(basics.inertia_mm5)
    assert inertia[2, 2] / known(basics.volume_mm3) == pytest.approx(116.953, abs=1e-3)
    exact = basics_of(prism(15, 3, 8, 4000))
    assert known(exact.volume_mm3) * 1.24e-3 == pytest.approx(6.7316, abs=1e-4)  # type: ignore[operator]
    tensor = inertia_kg_m2(exact, 1.24)
    assert not isinstance(tensor, Unknown)
    assert tensor[2][2] * 1e9 == pytest.approx(787.592, rel=1e-5)  # kg m2 to g mm2


def test_tetrahedron_and_octahedron() -> None:
    # FACTS 7, row tet/oct: edge 10, V = a^3 / (6 sqrt 2) = 117.8511 and a^3 sqrt 2 / 3 = 471.4045
    tet = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) * 10 / math.sqrt(8)
    octa = np.vstack([np.eye(3), -np.eye(3)]) * 10 / math.sqrt(2)
    for points, volume_mm3, faces in ((tet, 117.8511, 4), (octa, 471.4045, 8)):
        hull = trimesh.convex.convex_hull(points)
        assert len(hull.faces) == faces
        assert basics_of(solid_of(hull)).volume_mm3 == pytest.approx(volume_mm3, abs=5e-5)


def test_bookshelf_inertia_of_a_hollow_disc() -> None:
    # FACTS 7, row I-moto (OpenStax University Physics 1, chapter 10 problem): 12 kg, .28/.33 m gives 1.1238 kg m2
    basics = basics_of(prism(330, 280, 50, 3000))
    density = 12 / (known(basics.volume_mm3) * 1e-6)  # type: ignore[operator]
    tensor = inertia_kg_m2(basics, density)
    assert not isinstance(tensor, Unknown)
    assert tensor[2][2] == pytest.approx(1.1238, abs=5e-5)


@pytest.mark.parametrize("seed", range(6))
def test_two_other_libraries_agree(seed: int) -> None:
    # trimesh mass_properties and numpy-stl get_mass_properties, on the same float32 corners
    rng = np.random.default_rng(seed)
    shape = wheel(radius=20 + 10 * rng.random(), spokes=3 + seed, facets=32 + 16 * seed)
    corners = corners_of(shape) @ random_turn(rng).T + rng.uniform(-60, 60, 3)
    raw = read_mesh(binary_stl(corners), "wheel.stl")
    basics = measure(*repair(raw, MM))
    assert not isinstance(basics.volume_mm3, Unknown)
    other = trimesh.Trimesh(**trimesh.triangles.to_kwargs(raw.triangles)).mass_properties
    records = np.zeros(len(corners), stl.mesh.Mesh.dtype)
    records["vectors"] = raw.triangles
    volume, centre, inertia = stl.mesh.Mesh(records).get_mass_properties()
    scale = np.abs(np.array(basics.inertia_mm5)).max()
    assert basics.volume_mm3 == pytest.approx(other.volume, rel=1e-6)
    assert basics.volume_mm3 == pytest.approx(float(volume), rel=1e-6)
    assert basics.centre_of_mass_mm == pytest.approx(tuple(other.center_mass), rel=1e-6, abs=1e-5)
    assert basics.centre_of_mass_mm == pytest.approx(tuple(centre), rel=1e-6, abs=1e-5)
    assert np.array(basics.inertia_mm5) == pytest.approx(np.array(other.inertia), abs=1e-6 * scale)
    assert np.array(basics.inertia_mm5) == pytest.approx(np.array(inertia), abs=2e-6 * scale)
    area = trimesh.Trimesh(**trimesh.triangles.to_kwargs(raw.triangles)).area
    assert basics.area_mm2 == pytest.approx(area, rel=1e-9)


def test_turning_a_part_turns_its_inertia() -> None:
    # I' = R I R^T; centre and volume follow
    rng = np.random.default_rng(11)
    turn, corners = random_turn(rng), corners_of(wheel(eccentricity=2, spokes=4))
    still, turned = basics_of(corners), basics_of(corners @ turn.T)
    expected = turn @ np.array(still.inertia_mm5) @ turn.T
    assert np.array(turned.inertia_mm5) == pytest.approx(expected, rel=1e-9, abs=1e-9 * np.abs(expected).max())
    assert turned.centre_of_mass_mm == pytest.approx(tuple(turn @ np.array(still.centre_of_mass_mm)), abs=1e-9)


def test_far_from_the_origin_the_figures_keep() -> None:
    near, far = basics_of(corners_of(wheel())), basics_of(corners_of(wheel()) + 9_000.0)
    assert far.volume_mm3 == pytest.approx(known(near.volume_mm3), rel=1e-9)
    assert np.array(far.inertia_mm5) == pytest.approx(np.array(near.inertia_mm5), rel=1e-9, abs=1e-3)


@pytest.mark.parametrize("unit", [Unit.INCH, Unit.CENTIMETRE, Unit.METRE])
def test_volume_goes_with_the_cube_of_the_unit(unit: Unit) -> None:
    raw = RawMesh(corners_of(box(1, 2, 3)), "obj")
    basics = measure(*repair(raw, unit))
    scale = {Unit.INCH: 25.4, Unit.CENTIMETRE: 10.0, Unit.METRE: 1000.0}[unit]
    assert basics.volume_mm3 == pytest.approx(6 * scale**3)
    assert basics.size_mm == pytest.approx((scale, 2 * scale, 3 * scale))


def test_an_open_mesh_has_area_and_box_but_no_volume() -> None:
    basics = basics_of(corners_of(box(20, 20, 20))[:-2])
    assert basics.area_mm2 == pytest.approx(2000)
    assert basics.size_mm == pytest.approx((20, 20, 20))
    assert basics.volume_mm3 == Unknown("the surface is not closed: 4 open edges")
    assert basics.centre_of_mass_mm == basics.volume_mm3 == basics.inertia_mm5 == inertia_kg_m2(basics, 1.24)


def test_a_mesh_with_turned_faces_has_no_volume() -> None:
    corners = corners_of(box(20, 20, 20))
    corners[0] = corners[0, ::-1]
    volume = basics_of(corners).volume_mm3
    assert isinstance(volume, Unknown)
    assert "which side is out" in volume.because


def cubes(*places: tuple[float, float, float]) -> FloatArray:
    return corners_of(*(box(20, 20, 20, at=place) for place in places))


OVERLAPS = [
    # closed forms: a + b - shared
    ("two cubes, half shared", cubes((0, 0, 0), (10, 0, 0)), 12_000.0),
    ("two cubes, a corner shared", cubes((0, 0, 0), (15, 15, 15)), 16_000.0 - 125),
    ("three in a row", cubes((0, 0, 0), (10, 0, 0), (20, 0, 0)), 16_000.0),
    ("one in another", corners_of(box(20, 20, 20), box(5, 5, 5, at=(5, 5, 5))), 8_000.0),
    ("the same twice", cubes((0, 0, 0), (0, 0, 0)), 8_000.0),
    (
        "the same twice, cut otherwise",
        corners_of(box(20, 20, 20), box(20, 20, 20).rotate((0, 0, 90)).translate((20, 0, 0))),
        8_000.0,
    ),
    ("a bystander", cubes((0, 0, 0), (10, 0, 0), (50, 0, 0)), 20_000.0),
]


@pytest.mark.parametrize(("corners", "volume_mm3"), [case[1:] for case in OVERLAPS], ids=[case[0] for case in OVERLAPS])
def test_shared_material_counts_once(corners: FloatArray, volume_mm3: float) -> None:
    mesh, topology = repair(RawMesh(corners, "stl-binary"), MM)
    assert topology.overlapping_bodies or topology.twin_faces
    assert measure(mesh, topology).volume_mm3 == pytest.approx(volume_mm3, rel=1e-9)


def test_the_union_is_one_sound_mesh() -> None:
    corners = cubes((0, 0, 0), (10, 0, 0), (50, 0, 0))
    mesh, topology = repair(RawMesh(corners, "stl-binary"), MM)
    joined = union_overlapping(mesh, topology)
    assert isinstance(joined, Mesh)
    again = repair(RawMesh(joined.corners, "stl-binary"), MM)[1]
    assert (again.bodies, again.watertight, again.overlapping_bodies) == (2, True, False)
    assert set(joined.body.tolist()) == {0, 1}
    assert measure(joined, replace(topology, overlapping_bodies=False)).area_mm2 == pytest.approx(3200 + 2400)


def test_a_mesh_without_overlap_is_handed_back() -> None:
    mesh, topology = repair(RawMesh(cubes((0, 0, 0)), "stl-binary"), MM)
    assert union_overlapping(mesh, topology) is mesh


def test_overlapping_and_open_is_unknown_with_the_reason() -> None:
    corners = np.vstack([cubes((0, 0, 0), (10, 0, 0)), cubes((90, 0, 0))[:-1]])
    mesh, topology = repair(RawMesh(corners, "stl-binary"), MM)
    assert topology.overlapping_bodies
    assert isinstance(union_overlapping(mesh, topology), Unknown)
    volume = measure(mesh, topology).volume_mm3
    assert isinstance(volume, Unknown)
    assert "not closed" in volume.because


def test_bodies_that_cannot_be_joined_are_counted_in_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two cubes of 20 mm that share half: 12,000 mm3, within 1 % of the 4,000 they share."""
    mesh, topology = repair(RawMesh(cubes((0, 0, 0), (10, 0, 0)), "stl-binary"), MM)
    monkeypatch.setattr("meshcheck.basics.union_overlapping", lambda *_: Unknown("one of them is no clean solid"))
    basics = measure(mesh, topology)
    assert known(basics.volume_mm3) == pytest.approx(12_000, abs=40)
    assert basics.doubled_mm3 == pytest.approx(4_000, rel=0.01)
