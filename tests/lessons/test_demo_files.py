"""The invented school's meshes: they equal a rebuild, the manifest is complete, every mistake is really in its file."""

from __future__ import annotations

import importlib.metadata
import io
import json
import platform
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, Mesh64

import demo_fixtures.build as build
from lessons.parts import wheel
from lessons.parts.faults import StudentFile, student_files
from lessons.parts.files import HEADER, STL_RECORD, obj, stl_ascii, stl_binary, three_mf
from makerlab.demo.fixtures import lesson_files, read_kit_part, student_path
from meshcheck.check import check_part
from meshcheck.types import Level

FILES = {file.name: file for file in student_files()}
MANIFEST: dict[str, Any] = json.loads((build.HERE / "students.json").read_text("utf-8"))
MESHES = [name for name, file in FILES.items() if file.verdict != "rejected"]
FORMATS = {".stl": "stl", ".obj": "obj", ".3mf": "3mf"}


def load(name: str, content: bytes) -> trimesh.Trimesh:
    """The file as the second library reads it, corners merged exactly."""
    shape = trimesh.load(io.BytesIO(content), file_type=FORMATS[Path(name).suffix], force="mesh")
    assert isinstance(shape, trimesh.Trimesh)
    return shape


def stored(name: str) -> trimesh.Trimesh:
    return load(name, (build.HERE / "meshes" / "students" / name).read_bytes())


def hole_corners(shape: trimesh.Trimesh, within_mm: float = 5.0) -> np.ndarray:
    """Corners of the hole: those nearest the wheel's middle, seen from above."""
    middle = shape.bounds.mean(axis=0)[:2]
    flat = np.unique(np.round(shape.vertices[:, :2] - middle, 5), axis=0)
    return flat[np.hypot(flat[:, 0], flat[:, 1]) < within_mm]


@pytest.fixture(scope="module")
def rebuilt() -> dict[str, bytes]:
    return build.built_files()


def test_the_stored_files_equal_a_rebuild(rebuilt: dict[str, bytes]) -> None:
    here = {"manifold3d": importlib.metadata.version("manifold3d"), "processor": platform.machine()}
    if here["processor"] == "AMD64":
        here["processor"] = "x86_64"
    if here == build.BUILT_WITH:
        assert build.differing(rebuilt) == [], "run: python demo_fixtures/build.py"
    for name, content in rebuilt.items():
        if name.startswith("meshes/") and Path(name).name not in ("shrews-notes.stl", "newts-cut-off.stl"):
            old, new = load(name, (build.HERE / name).read_bytes()), load(name, content)
            assert new.bounds == pytest.approx(old.bounds, abs=2e-4)
            assert (new.volume, new.area) == pytest.approx((old.volume, old.area), rel=1e-5)


def test_a_drifted_or_forgotten_file_is_noticed(rebuilt: dict[str, bytes]) -> None:
    changed = {**rebuilt, "meshes/kit/wheel.stl": rebuilt["meshes/kit/wheel.stl"][:-1] + b"\x01"}
    changed.pop("meshes/kit/chassis.stl")
    assert {"meshes/kit/wheel.stl", "meshes/kit/chassis.stl"} <= set(build.differing(changed))


def test_building_twice_gives_the_same_bytes(rebuilt: dict[str, bytes]) -> None:
    assert build.built_files() == rebuilt


def test_the_whole_set_stays_small(rebuilt: dict[str, bytes]) -> None:
    assert sum(map(len, rebuilt.values())) < 4e6


def test_the_manifest_names_every_stored_file_once() -> None:
    on_disk = sorted(path.name for path in (build.HERE / "meshes" / "students").iterdir())
    assert sorted(entry["file"] for entry in MANIFEST["files"]) == on_disk == sorted(FILES)


@pytest.mark.parametrize("entry", MANIFEST["files"], ids=lambda entry: entry["file"])
def test_a_manifest_entry_says_all_that_is_needed(entry: dict[str, Any]) -> None:
    assert entry["verdict"] in {"ok", "advice", "must_fix", "rejected"}
    assert bool(entry["codes"]) == (entry["verdict"] != "ok")
    assert len(entry["shows"]) > 10
    assert 1 <= entry["team"] <= 16
    assert entry["version"] >= 1


def test_no_team_hands_in_one_version_twice() -> None:
    pairs = [(entry["team"], entry["version"]) for entry in MANIFEST["files"]]
    assert len(set(pairs)) == len(pairs)
    for team in {team for team, _ in pairs}:
        versions = sorted(version for other, version in pairs if other == team)
        assert versions == list(range(1, len(versions) + 1))


def test_every_format_and_every_verdict_occurs() -> None:
    suffixes = {Path(entry["file"]).suffix for entry in MANIFEST["files"] if entry["verdict"] == "ok"}
    assert suffixes == {".stl", ".obj", ".3mf"}
    assert {entry["verdict"] for entry in MANIFEST["files"]} == {"ok", "advice", "must_fix", "rejected"}


# What is wrong is really wrong, measured by the second library ----------------------------------------------------


@pytest.mark.parametrize("name", [name for name, file in FILES.items() if file.verdict in ("ok", "advice")])
def test_a_wheel_that_may_print_keeps_the_hub(name: str) -> None:
    shape = stored(name)
    assert shape.is_watertight
    for body in shape.split() if FILES[name].wheels > 1 else [shape]:
        corners = hole_corners(body, 3.0)
        assert np.hypot(*corners.T) == pytest.approx(np.full(len(corners), 1.6), abs=2e-4)
        assert sorted(body.extents)[2] <= 70
        assert sorted(body.extents)[0] <= 12


@pytest.mark.parametrize("name", [name for name, file in FILES.items() if file.verdict == "ok"])
def test_a_good_wheel_stands_on_the_bed_without_overhang(name: str) -> None:
    shape = stored(name)
    on_bed = shape.triangles[:, :, 2].max(axis=1) < 1e-4
    steep = -shape.face_normals[:, 2] > np.sin(np.radians(45.0))
    assert shape.volume > 0
    assert shape.area_faces[steep & ~on_bed].sum() == 0
    assert shape.bounds[0, 2] == pytest.approx(0, abs=1e-6)


def test_good_designs_differ_visibly() -> None:
    volumes = sorted(stored(name).volume for name, file in FILES.items() if file.verdict == "ok" and file.wheels == 1)
    assert len(volumes) == 7
    assert np.diff(volumes).min() > 100  # at least 0.1 cm3 apart


def test_four_wheels_are_four_bodies() -> None:
    assert stored("terns-wheel-1.stl").body_count == 4


def test_inches() -> None:
    shape = stored("stoats-wheel-1.stl")
    assert shape.extents * 25.4 == pytest.approx([60, 60, 8], abs=0.01)


def test_scaled_wheel_has_a_hole_of_2_94_mm() -> None:
    shape = stored("voles-wheel-2.stl")
    corners = hole_corners(shape, 3.0)
    assert 2 * np.hypot(*corners.T) == pytest.approx(np.full(len(corners), 2.944), abs=1e-3)
    assert shape.extents == pytest.approx([55.2, 55.2, 7.36], abs=0.06)


def test_filled_hub_has_no_corner_near_the_axis_and_one_opening_less() -> None:
    shape = stored("martens-wheel-1.stl")
    assert len(hole_corners(shape, 3.0)) == 0
    assert shape.euler_number == 2 - 2 * 5
    assert shape.is_watertight


def test_off_centre_hole() -> None:
    corners = hole_corners(stored("plovers-wheel-1.stl"), 3.5)
    assert np.hypot(*corners.mean(axis=0)) == pytest.approx(1.5, abs=1e-3)


def test_stretched_hole_is_oval() -> None:
    corners = hole_corners(stored("shrews-wheel-1.stl"), 3.0)
    assert np.ptp(corners, axis=0) == pytest.approx([3.68, 3.2], abs=1e-3)


def test_missing_faces_leave_open_edges() -> None:
    shape = stored("voles-wheel-1.stl")
    assert not shape.is_watertight
    assert len(trimesh.grouping.group_rows(shape.edges_sorted, require_count=1)) > 20


def test_inside_out_wheel_is_closed_with_negative_volume() -> None:
    shape = stored("otters-wheel-2.stl")
    assert shape.is_watertight
    assert shape.is_winding_consistent
    assert shape.volume < -5000


def test_overlapping_shells_are_seven_bodies_that_share_space() -> None:
    shape = stored("otters-wheel-1.stl")
    bodies = [
        Manifold(Mesh64(np.ascontiguousarray(b.vertices), np.ascontiguousarray(b.faces.astype(np.uint64))))
        for b in shape.split()
    ]
    total = bodies[0]
    for body in bodies[1:]:
        total += body
    assert len(bodies) == 7
    assert sum(body.volume() for body in bodies) - total.volume() > 100


def test_too_big_for_every_bed_of_the_room() -> None:
    kinds = json.loads((build.HERE / "school.json").read_text("utf-8"))["room"]["printer_kinds"]
    widest = max(min(kind["width_mm"], kind["depth_mm"]) for kind in kinds)
    assert stored("hares-wheel-1.stl").extents[:2].min() > widest


def test_thin_spokes_are_half_a_millimetre() -> None:
    section = stored("dormice-wheel-1.stl").section(plane_origin=[0, 0, 4.0], plane_normal=[0, 0, 1])
    assert section is not None
    near_first_spoke = section.vertices[(np.abs(section.vertices[:, 1]) < 1) & (section.vertices[:, 0] > 8)]
    inner = near_first_spoke[near_first_spoke[:, 0] < 26.9]
    assert np.ptp(inner[:, 1]) == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(
    ("name", "at_least_cm2", "at_most_cm2"), [("newts-wheel-1.stl", 5.0, 6.0), ("swallows-wheel-1.stl", 25.0, 26.7)]
)
def test_steep_undersides_are_large(name: str, at_least_cm2: float, at_most_cm2: float) -> None:
    """Newts: five spokes of about 18 x 6 mm = 5.4 cm2. Swallows: ring pi (30^2 - 7^2) = 26.7 cm2 less its chamfer."""
    shape = stored(name)
    on_bed = shape.triangles[:, :, 2].max(axis=1) < 1e-4
    steep = (-shape.face_normals[:, 2] > np.sin(np.radians(45.0))) & ~on_bed
    assert at_least_cm2 < shape.area_faces[steep].sum() / 100 < at_most_cm2


def test_cut_off_file_promises_more_than_it_holds() -> None:
    content = (build.HERE / "meshes/students/newts-cut-off.stl").read_bytes()
    promised = int(np.frombuffer(content, "<u4", 1, 80)[0])
    assert len(content) < 84 + 50 * promised
    assert (len(content) - 84) % 50 != 0


def test_the_letter_is_no_mesh() -> None:
    content = (build.HERE / "meshes/students/shrews-notes.stl").read_bytes()
    assert content.isascii()
    assert b"facet" not in content


# How files are written --------------------------------------------------------------------------------------------


def test_binary_stl_is_84_and_50_bytes_a_facet_without_personal_text() -> None:
    """Burns, Automated Fabrication 6.5: 80-byte header, count, 50 bytes a facet."""
    mesh = wheel()
    content = stl_binary(mesh)
    assert len(content) == 84 + 50 * len(mesh[1])
    assert content[:80] == HEADER.ljust(80)
    assert not content.startswith(b"solid")
    records = np.frombuffer(content, STL_RECORD, offset=84)
    corners = records["corners"].astype(np.float64)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    # float32 corners of long thin facets leave their normal good to a few thousandths
    along = np.einsum("ij,ij->i", cross, records["normal"]) / np.linalg.norm(cross, axis=1)
    assert along.min() > 0.999


@pytest.mark.parametrize("suffix", [".stl", ".obj", ".3mf"])
def test_a_second_library_reads_back_the_same_solid(suffix: str) -> None:
    mesh = wheel()
    write = {".stl": lambda m: stl_ascii(m, "wheel"), ".obj": lambda m: obj(m, "wheel"), ".3mf": three_mf}[suffix]
    shape = load(f"wheel{suffix}", write(mesh))
    original = trimesh.Trimesh(*mesh, process=False)
    assert len(shape.faces) == len(original.faces)
    assert shape.is_watertight
    assert shape.volume == pytest.approx(original.volume, rel=1e-6)


def test_3mf_says_its_unit_and_lies_in_the_positive_octant() -> None:
    """3MF core specification 1.4.0: unit attribute; positive octant recommended."""
    content = (build.HERE / "meshes/students/finches-wheel-1.3mf").read_bytes()
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None
        model = archive.read("3D/3dmodel.model").decode()
    assert 'unit="millimeter"' in model
    assert stored("finches-wheel-1.3mf").bounds[0] == pytest.approx([0, 0, 0], abs=1e-6)


def test_the_command_rebuilds_and_checks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(build, "HERE", tmp_path)
    (tmp_path / "meshes").mkdir()
    (tmp_path / "meshes" / "old.stl").write_bytes(b"left over")
    assert build.main(["--check"]) == 1
    assert build.main([]) == 0
    assert build.main(["--check"]) == 0
    assert not (tmp_path / "meshes" / "old.stl").exists()
    assert "written: meshes/kit/wheel.stl" in capsys.readouterr().out


def test_every_file_says_what_it_shows_in_its_own_words() -> None:
    assert len({file.shows for file in FILES.values()}) == len(FILES)
    assert all(isinstance(file, StudentFile) for file in FILES.values())


# Other lessons' files ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("entry", lesson_files(), ids=lambda entry: entry["file"])
def test_a_hull_gets_the_verdict_the_school_names(entry: dict[str, Any]) -> None:
    facts = read_kit_part(entry["part"])
    data = student_path(entry).read_bytes()
    report = check_part(data, entry["file"], gauge=facts.gauge, settings=facts.settings, limits=facts.limits)
    told = {finding.code for finding in report.findings if finding.level is not Level.PASSES}
    assert report.verdict.value == entry["verdict"]
    assert told >= set(entry["codes"])


def test_every_hull_stored_is_somebodys() -> None:
    on_disk = sorted(path.name for path in (build.HERE / "meshes" / "hulls").iterdir())
    assert sorted(entry["file"] for entry in lesson_files()) == on_disk
