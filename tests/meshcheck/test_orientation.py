"""The best resting face of known parts, whatever way they are turned, and an honest price for each."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.check import check_part
from meshcheck.estimate import estimate
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.orientation import AS_DRAWN, advise_turn, best_poses, pose_as_drawn, turned
from meshcheck.overhang import overhang
from meshcheck.report import report_json
from meshcheck.resting import resting_faces
from meshcheck.types import Limits, Machine, Mesh, Pose, PrintSettings, Turn, Unknown, Vector

from .known_parts import DOWN, KNOWN_PARTS
from .parts import Solid, box, disc, mesh_of, moved, random_turn

SETTINGS, MACHINE = PrintSettings(), Machine()
TURNS = 6


def looks_down(pose: Pose, how_turned: np.ndarray) -> np.ndarray:
    """The direction of the drawing that looks down in the pose of a part that was turned before."""
    return how_turned.T @ np.array(pose.rotation).T @ np.array(DOWN)


def within_a_degree(found: np.ndarray, expected: tuple[Vector, ...]) -> bool:
    return any(found @ np.array(direction) > np.cos(np.radians(1)) for direction in expected)


def test_known_parts_find_their_face_from_any_position() -> None:
    """The bar is 95 % of randomly turned parts."""
    rng = np.random.default_rng(7)
    missed = []
    for name, part in KNOWN_PARTS.items():
        mesh = part.make()
        for _ in range(TURNS):
            how = random_turn(rng)
            best = best_poses(moved(mesh, how, tuple(rng.uniform(-100, 100, 3))), SETTINGS, MACHINE)[0]
            if not within_a_degree(looks_down(best, how), part.down):
                missed.append(name)
    assert len(missed) <= 0.05 * TURNS * len(KNOWN_PARTS), missed


def test_a_pose_is_a_rotation_and_lays_the_face_flat() -> None:
    mesh = moved(KNOWN_PARTS["axle holder"].make(), random_turn(np.random.default_rng(1)), (5, 6, 7))
    poses = best_poses(mesh, SETTINGS, MACHINE)
    assert 2 <= len(poses) <= 12
    for pose in poses:
        matrix = np.array(pose.rotation)
        assert matrix @ matrix.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(matrix) == pytest.approx(1)
        assert np.ptp(turned(mesh, pose.rotation).vertices[:, 2]) == pytest.approx(pose.height_mm)
    assert [p.price_min for p in poses] == sorted(p.price_min for p in poses)


def test_closed_forms_of_a_table() -> None:
    """40 x 40 x 5 on a leg of 10 x 10 x 20; its centre of mass by hand: (8000 * 22.5 + 2000 * 10) / 10000 = 20."""
    mesh = mesh_of(box(40, 40, 5, (-20, -20, 20)) + box(10, 10, 20, (-5, -5, 0)))
    drawn = pose_as_drawn(mesh, SETTINGS, MACHINE)
    assert drawn is not None
    assert drawn.support_mm3 == pytest.approx(30_000, rel=0.02)  # coarse columns
    assert drawn.contact_mm2 == pytest.approx(100)
    assert drawn.height_mm == pytest.approx(25)
    assert drawn.tip_deg == pytest.approx(np.degrees(np.arctan2(5, 20)))
    best = best_poses(mesh, SETTINGS, MACHINE)[0]
    assert best.rotation == ((1, 0, 0), (0, -1, 0), (0, 0, -1))
    assert (best.support_mm3, best.contact_mm2) == (0, pytest.approx(1600))
    assert best.tip_deg == pytest.approx(np.degrees(np.arctan2(20, 5)))


@pytest.mark.parametrize("name", KNOWN_PARTS)
def test_the_quick_price_is_near_the_estimate(name: str) -> None:
    """Grams within 15 %, minutes within 30 % of the layers and paths worked out, where support is printed or not."""
    mesh = KNOWN_PARTS[name].make()
    for pose in best_poses(mesh, SETTINGS, MACHINE)[:2]:
        lying = turned(mesh, pose.rotation)
        exact = estimate(lying, SETTINGS, MACHINE, overhang(lying, watertight=True, bed_mm=0.1))
        assert not isinstance(exact, Unknown)
        assert pose.grams == pytest.approx(exact.used_g, rel=0.15)
        assert pose.minutes == pytest.approx(exact.duration_s / 60, rel=0.30)


def test_a_ball_stands_nowhere_and_every_pose_costs_about_the_same() -> None:
    poses = best_poses(mesh_of(Solid.sphere(15, 96)), SETTINGS, MACHINE)
    assert AS_DRAWN in [pose.rotation for pose in poses]
    assert max(pose.tip_deg for pose in poses) < 5
    assert poses[-1].price_min < 1.05 * poses[0].price_min


@pytest.mark.parametrize("radius_mm", [4, 15, 40])
def test_no_ball_stands_however_finely_it_is_drawn(radius_mm: float) -> None:
    for facets in (64, 320):
        mesh = mesh_of(Solid.sphere(radius_mm, facets))
        drawn = pose_as_drawn(mesh, SETTINGS, MACHINE)
        assert drawn is not None
        assert drawn.tip_deg < 5


@pytest.mark.parametrize("name", ["axle holder", "bracket", "two shelves", "half a ball", "starting wheel"])
def test_a_dense_mesh_rests_on_the_same_faces(name: str) -> None:
    """Beyond some thousand vertices the hull is taken of the farthest ones only; the faces must be the same."""
    coarse = KNOWN_PARTS[name].make()
    fine = refined(coarse, 14_000)
    assert len(fine.vertices) > 12_000
    middle = coarse.vertices.mean(axis=0)
    few, many = resting_faces(coarse.vertices, middle), resting_faces(fine.vertices, middle)
    assert len(few) == len(many)
    for face in few:
        same = max(many, key=lambda other: float(other.down @ face.down) - abs(other.tip_deg - face.tip_deg))
        assert same.down == pytest.approx(face.down, abs=1e-5)
        assert same.area_mm2 == pytest.approx(face.area_mm2, rel=1e-4)
        assert same.tip_deg == pytest.approx(face.tip_deg, abs=0.01)


def refined(mesh: Mesh, vertices: int) -> Mesh:
    """Every face cut into four until there are more than so many vertices."""
    solid = Solid(m3.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32)))
    n = 2
    while solid.refine(n).num_vert() <= vertices:
        n += 1
    return mesh_of(solid.refine(n))


def test_the_files_own_pose_is_kept_to_the_last_digit_when_it_is_as_good() -> None:
    leaned = np.array([[1, 0, 0], [0, np.cos(0.002), -np.sin(0.002)], [0, np.sin(0.002), np.cos(0.002)]])
    for mesh in (mesh_of(disc(20, 5)), moved(mesh_of(disc(20, 5)), leaned)):
        assert AS_DRAWN in [pose.rotation for pose in best_poses(mesh, SETTINGS, MACHINE)]


def test_nothing_encloses_nothing() -> None:
    flat = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), np.zeros(0, np.int32))
    assert best_poses(flat, SETTINGS, MACHINE) == ()
    assert pose_as_drawn(flat, SETTINGS, MACHINE) is None
    inward = mesh_of(box(10, 10, 10))
    assert best_poses(Mesh(inward.vertices, inward.faces[:, ::-1], inward.body), SETTINGS, MACHINE) == ()


def advised(mesh: Mesh, settings: PrintSettings = SETTINGS, bed_mm: Vector | None = None) -> Turn:
    as_drawn = estimate(mesh, settings, MACHINE, overhang(mesh, watertight=True))
    assert not isinstance(as_drawn, Unknown)
    turn = advise_turn(mesh, settings, MACHINE, as_drawn, bed_mm)
    assert isinstance(turn, Turn)
    return turn


TABLE_DOWN = mesh_of(box(40, 40, 5, (-20, -20, 20)) + box(10, 10, 20, (-5, -5, 0)))


def test_what_a_turn_saves_is_the_difference_of_two_estimates() -> None:
    turn = advised(TABLE_DOWN)
    before = estimate(TABLE_DOWN, SETTINGS, MACHINE, overhang(TABLE_DOWN, watertight=True))
    lying = turned(TABLE_DOWN, turn.pose.rotation)
    after = estimate(lying, SETTINGS, MACHINE, overhang(lying, watertight=True))
    assert not isinstance(before, Unknown)
    assert not isinstance(after, Unknown)
    assert after.support_g == 0
    assert turn.saves_g == pytest.approx(before.used_g - after.used_g)
    assert turn.saves_min == pytest.approx((before.duration_s - after.duration_s) / 60)
    # support of 30,000 mm3, 15 % filled, PLA: 5.58 g, as much as the part itself
    assert turn.saves_g == pytest.approx(5.58, rel=0.1)
    assert "needs no support" in turn.why


def test_a_turn_counts_support_even_where_the_settings_leave_it_out() -> None:
    assert advised(TABLE_DOWN, PrintSettings(support="off")).saves_g == pytest.approx(5.58, rel=0.1)


def test_a_pose_that_fits_no_bed_is_not_advised() -> None:
    pole = mesh_of(box(10, 10, 100))
    assert advised(pole).pose.height_mm == pytest.approx(10)
    assert advised(pole, bed_mm=(60, 60, 120)).pose.rotation == AS_DRAWN


def test_small_gains_are_not_worth_a_word() -> None:
    assert advised(mesh_of(box(20, 21, 20))).pose.rotation == AS_DRAWN


def check(mesh: Mesh, limits: Limits | None = None):
    return check_part(stl_bytes([PlacedMesh(mesh, 0, 0)]), "part.stl", limits=limits)


def test_the_check_says_it_and_the_plate_can_use_it() -> None:
    report = check(TABLE_DOWN)
    finding = next(f for f in report.findings if f.code == "turn_it")
    assert finding.figure.startswith("saves 5.")
    assert "the top" in finding.mend
    plain = report_json(report)
    pose = plain["pose"]
    matrix = np.array(pose["turn"])
    assert matrix @ matrix.T == pytest.approx(np.eye(3), abs=1e-12)
    assert pose["bbox_mm"] == pytest.approx([40, 40, 25])
    assert pose["footprint"]["kind"] == "rectangle"
    assert plain["bbox_mm"] == pytest.approx([40, 40, 25])  # the file's own pose stays what is measured


def test_a_part_that_lies_well_gets_the_unit_matrix_and_no_finding() -> None:
    report = check(mesh_of(disc(20, 5)))
    assert "turn_it" not in {f.code for f in report.findings}
    pose = report_json(report)["pose"]
    assert pose["turn"] == [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
    assert pose["why"] == "lies well as it is drawn"


def test_a_ball_is_told_that_it_has_no_flat() -> None:
    codes = {f.code for f in check(mesh_of(Solid.sphere(15, 64))).findings}
    assert "no_flat_side" in codes
    assert "turn_it" not in codes


def test_an_open_skin_has_no_pose() -> None:
    mesh = mesh_of(box(10, 10, 10))
    report = check(Mesh(mesh.vertices, mesh.faces[:-1], mesh.body[:-1]))
    assert isinstance(report.turn, Unknown)
    assert report_json(report)["pose"] is None
