"""Plain values in, plain values out: what other processes call."""

from __future__ import annotations

import json
import zipfile

import pytest

from makerlab.demo.fixtures import FOLDER, student_path
from meshcheck.export import PlacedMesh, threemf_bytes
from meshcheck.plating import read_solid
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.service import estimate_plate, measure, write_plate
from meshcheck.types import Unit

WHEEL = str(FOLDER / "meshes/kit/wheel.stl")
CHASSIS = str(FOLDER / "meshes/kit/chassis.stl")


def placed(path: str, x: float, y: float, turn: float = 0.0) -> dict:
    return {"path": path, "name": path.rsplit("/", 1)[1], "unit": "", "x_mm": x, "y_mm": y, "turn_deg": turn}


def test_measure_answers_json_with_a_picture():
    answer = measure(
        WHEEL,
        "mine.stl",
        {"hole_diameter_mm": 3.2, "size_max_mm": [70, 70, 12]},
        {"walls": 3},
        {},
        {"bed_mm": [210, 210, 220]},
        None,
    )
    answer = json.loads(json.dumps(answer, allow_nan=False))
    assert answer["report"]["verdict"] == "ok"
    assert answer["report"]["file"] == "mine.stl"
    assert answer["report"]["footprint"]["kind"] == "circle"
    assert answer["picture"].startswith("<svg")


def test_measure_of_a_cut_off_file_is_a_rejection_without_a_picture():
    path = str(student_path({"file": "newts-cut-off.stl"}))
    answer = measure(path, "x.stl", None, {}, {}, {}, None)
    assert (answer["report"]["verdict"], answer["picture"]) == ("rejected", "")


def test_a_plate_is_more_than_one_part_and_less_than_parts_apart():
    one = estimate_plate([placed(WHEEL, 50, 50)], {}, {"slow": {}})
    four = estimate_plate([placed(WHEEL, x, y) for x in (50, 120) for y in (50, 120)], {}, {"slow": {}})
    assert four["mass_g"] == pytest.approx(4 * one["mass_g"], rel=1e-9)
    # one heat-up and one change of layer instead of four, but travel between copies
    assert 3 * one["durations_s"]["slow"] < four["durations_s"]["slow"] < 4 * one["durations_s"]["slow"]


def test_a_plate_on_each_kind_of_machine():
    kinds = {"slow": {}, "quick": {"wall_mm_s": 100.0, "inner_wall_mm_s": 140.0, "acceleration_mm_s2": 3000.0}}
    answer = estimate_plate([placed(CHASSIS, 100, 100)], {"layer_height_mm": 0.28}, kinds)
    assert answer["durations_s"]["quick"] < answer["durations_s"]["slow"]
    assert answer["cool_down_s"] == {"slow": 600.0, "quick": 600.0}


def test_an_open_part_makes_the_plate_unknown_with_a_reason():
    path = str(student_path({"file": "voles-wheel-1.stl"}))
    assert "not closed" in estimate_plate([placed(path, 50, 50)], {}, {"slow": {}})["unknown"]


@pytest.mark.parametrize("kind", ["stl", "3mf"])
def test_an_arranged_plate_read_again_has_every_copy_in_its_place(kind, tmp_path):
    target = tmp_path / "plate"
    parts = [placed(WHEEL, 40, 40), placed(WHEEL, 110, 40, 30.0), placed(CHASSIS, 100, 150, 90.0)]
    answer = write_plate(parts, str(target), kind, "P1")
    data = target.read_bytes()
    assert answer["bytes"] == len(data)
    mesh, topology = repair(read_mesh(data, "plate"), Unit.MILLIMETRE)
    assert topology.bodies == 3
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    # wheels of 60 mm at 40 and 110; the chassis of 150 x 70 turned by a quarter about (100, 150)
    assert low == pytest.approx([10, 10, 0], abs=1e-3)
    # a rim of 128 sides turned by 30 degrees reaches up to 30 (1 - cos(180/128)) = 0.009 mm less far
    assert high == pytest.approx([140, 225, 15], abs=0.01)


def test_files_drawn_in_inches_are_placed_in_their_unit():
    path = str(student_path({"file": "stoats-wheel-1.stl"}))
    mesh, closed = read_solid(path, "w.stl", Unit.INCH)
    assert closed
    assert mesh.vertices[:, 0].max() - mesh.vertices[:, 0].min() == pytest.approx(60, abs=1.0)


ON_ITS_EDGE = [[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]  # a quarter turn about x


def test_a_pose_lays_the_part_in_the_check_the_estimate_and_the_file(tmp_path):
    flat = measure(WHEEL, "w.stl", None, {}, {}, {}, None)["report"]
    edge = measure(WHEEL, "w.stl", None, {}, {}, {}, None, ON_ITS_EDGE)["report"]
    assert flat["bbox_mm"] == pytest.approx([60, 60, 8], abs=0.02)
    assert edge["bbox_mm"] == pytest.approx([60, 8, 60], abs=0.02)
    assert (flat["posed"], edge["posed"]) == (False, True)
    assert edge["volume_mm3"] == pytest.approx(flat["volume_mm3"], rel=1e-9)
    part = placed(WHEEL, 50, 50) | {"pose": ON_ITS_EDGE}
    assert estimate_plate([part], {}, {"slow": {}})["layers"] == pytest.approx(300, abs=1)
    target = tmp_path / "plate"
    write_plate([part], str(target), "stl", "P1")
    mesh, _ = repair(read_mesh(target.read_bytes(), "plate"), Unit.MILLIMETRE)
    assert mesh.vertices.max(axis=0) == pytest.approx([80, 54, 60], abs=0.02)


@pytest.mark.parametrize(
    "pose", [[[1, 0, 0], [0, 1, 0]], [[2, 0, 0], [0, 1, 0], [0, 0, 1]], [[-1, 0, 0], [0, 1, 0], [0, 0, 1]]]
)
def test_a_pose_never_bends_or_mirrors_a_part(pose):
    with pytest.raises(ValueError, match="pose"):
        measure(WHEEL, "w.stl", None, {}, {}, {}, None, pose)


def test_a_3mf_in_inches_is_plated_in_inches(tmp_path):
    mesh, _ = read_solid(str(student_path({"file": "stoats-wheel-1.stl"})), "w.stl", None)
    source = tmp_path / "inch.3mf"
    source.write_bytes(threemf_bytes([PlacedMesh(mesh, 0, 0)], "w"))
    with zipfile.ZipFile(source) as package:
        members = {name: package.read(name) for name in package.namelist()}
    with zipfile.ZipFile(source, "w") as package:
        for name, data in members.items():
            package.writestr(name, data.replace(b'unit="millimeter"', b'unit="inch"'))
    mesh, _ = read_solid(str(source), "inch.3mf", None)
    assert mesh.vertices[:, 0].max() - mesh.vertices[:, 0].min() == pytest.approx(60, abs=1.0)
