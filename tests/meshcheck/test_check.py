"""The whole check: verdicts on every demo file, closed forms at the front door, and what a report holds.

The demo files have their faults by construction (lessons.parts.faults); the cube's figures are closed forms, its
density 1.24 g/cm3 that of PLA (ASTM D792, data sheet named in meshcheck.materials).
"""

from __future__ import annotations

import json

import manifold3d
import numpy as np
import pytest
import trimesh

from makerlab.demo.fixtures import read_kit_part, student_files, student_path
from meshcheck.check import check_part
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.report import report_json
from meshcheck.types import Gauge, Level, Limits, PrintSettings, Unit, Verdict, known
from tests.meshcheck.test_picture import mesh_of

FILES = {entry["file"]: entry for entry in student_files()}
WHEEL = read_kit_part("wheel")


def stl_of(solid: manifold3d.Manifold, scale: float = 1.0) -> bytes:
    return stl_bytes([PlacedMesh(mesh_of(solid.scale((scale, scale, scale))), 0, 0)])


def cube(side: float = 20.0) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube((side, side, side))


def check_demo(name: str):
    return check_part(
        student_path(FILES[name]).read_bytes(), name, gauge=WHEEL.gauge, settings=WHEEL.settings, limits=WHEEL.limits
    )


@pytest.mark.parametrize("name", sorted(FILES))
def test_every_demo_file_gets_its_verdict_and_findings(name):
    report = check_demo(name)
    told = {finding.code for finding in report.findings if finding.level is not Level.PASSES}
    assert report.verdict.value == FILES[name]["verdict"], report.reason
    assert set(FILES[name]["codes"]) <= told
    assert report.copies_in_file == FILES[name]["wheels_in_file"]


@pytest.mark.parametrize("name", sorted(FILES))
def test_a_report_is_json_and_says_why_something_is_unknown(name):
    plain = json.loads(json.dumps(report_json(check_demo(name)), allow_nan=False))
    if plain["faces"] is not None and plain["volume_mm3"] is None:
        assert any(finding["code"] == "volume_unknown" for finding in plain["findings"])
    if plain["verdict"] in {"must_fix", "rejected"}:
        assert all(f["mend"] for f in plain["findings"] if f["level"] == "must_fix")


def test_a_solid_cube_weighs_what_its_volume_says():
    report = check_part(stl_of(cube()), "cube.stl", settings=PrintSettings(infill_share=1.0))
    assert report.basics.volume_mm3 == pytest.approx(8000, rel=1e-6)
    assert report.basics.area_mm2 == pytest.approx(2400, rel=1e-6)
    assert report.estimate.mass_g == pytest.approx(9.920, rel=1e-6)
    assert report.verdict is Verdict.OK


def test_inertia_of_the_solid_cube_agrees_with_the_closed_form_and_trimesh():
    report = check_part(stl_of(cube()), "cube.stl")
    inertia = np.array(report_json(report)["inertia_kg_m2"])
    mass_kg, side_m = 8.0 * 1.24 / 1000, 0.02
    assert np.diag(inertia) == pytest.approx(mass_kg * side_m**2 / 6, rel=1e-6)
    peer = trimesh.creation.box((20, 20, 20))
    assert inertia == pytest.approx(peer.moment_inertia * 1.24e-12, rel=1e-6, abs=1e-15)


def test_overlapping_cubes_count_their_shared_room_once():
    # two 20 mm cubes that share half: 12,000 mm3, not 16,000
    both = trimesh.util.concatenate(
        [trimesh.creation.box((20, 20, 20)), trimesh.creation.box((20, 20, 20)).apply_translation((10, 0, 0))]
    )
    report = check_part(both.export(file_type="stl"), "two.stl", settings=PrintSettings(infill_share=1.0))
    assert report.basics.volume_mm3 == pytest.approx(12_000, rel=1e-6)
    assert report.estimate.mass_g == pytest.approx(12 * 1.24, rel=1e-6)
    assert "overlapping_bodies" in {finding.code for finding in report.findings}


def wheel(bore: float = 3.2, radius: float = 30.0) -> manifold3d.Manifold:
    return manifold3d.Manifold.cylinder(8, radius, radius, 128) - manifold3d.Manifold.cylinder(
        20, bore / 2, bore / 2, 96
    ).translate((0, 0, -5))


@pytest.mark.parametrize(
    ("scale", "proposed"), [(1.0, None), (1 / 25.4, Unit.INCH), (0.1, Unit.CENTIMETRE), (0.001, Unit.METRE)]
)
def test_a_wheel_in_another_unit_is_proposed_and_then_read_right(scale, proposed):
    data = stl_of(wheel(), scale)
    first = check_part(data, "wheel.stl", gauge=WHEEL.gauge)
    assert first.unit_proposed == proposed
    if proposed is not None:
        assert first.verdict is Verdict.MUST_FIX
        again = check_part(data, "wheel.stl", gauge=WHEEL.gauge, unit=proposed)
        assert again.verdict is Verdict.OK
        assert again.holes[0].diameter_mm == pytest.approx(3.2, abs=1e-3)


def test_limits_are_for_each_wheel_of_a_file():
    four = manifold3d.Manifold.compose([wheel().translate((x, y, 0)) for x in (0, 70) for y in (0, 70)])
    one = check_part(stl_of(wheel()), "one.stl", gauge=WHEEL.gauge)
    each_g = one.estimate.mass_g
    within = check_part(stl_of(four), "four.stl", gauge=WHEEL.gauge, limits=Limits(mass_g=each_g * 1.01))
    over = check_part(stl_of(four), "four.stl", gauge=WHEEL.gauge, limits=Limits(mass_g=each_g * 0.99))
    assert within.copies_in_file == over.copies_in_file == 4
    assert "too_heavy" not in {f.code for f in within.findings}
    assert "too_heavy" in {f.code for f in over.findings}


@pytest.mark.parametrize(
    ("size", "bed", "code"),
    [
        ((100, 50, 10), (60, 120, 100), "fits_bed"),  # turned by a quarter
        ((100, 50, 10), (99, 99, 100), "too_big_for_bed"),
        ((50, 50, 110), (120, 120, 100), "too_big_for_bed"),  # a part is not laid down by itself
    ],
)
def test_the_largest_bed(size, bed, code):
    report = check_part(stl_of(manifold3d.Manifold.cube(size)), "box.stl", limits=Limits(bed_mm=bed))
    assert code in {finding.code for finding in report.findings}


@pytest.mark.parametrize(
    ("wall", "code"), [(0.3, "walls_vanish"), (0.5, "walls_one_line"), (0.75, "thin_walls"), (1.2, "walls_ok")]
)
def test_walls_against_the_lines_that_fit_in_them(wall, code):
    # lines of 0.42 mm: one line below 0.63 mm, two lines from 0.84 mm
    plate = manifold3d.Manifold.cube((30, wall, 20))
    report = check_part(stl_of(plate), "plate.stl")
    assert known(report.walls.thinnest_mm) == pytest.approx(wall, abs=0.05)
    assert code in {finding.code for finding in report.findings}


def test_the_sentence_names_the_only_thing_to_fix():
    report = check_part(stl_of(wheel(bore=2.9)), "w.stl", gauge=Gauge(hole_diameter_mm=3.2, through=True))
    assert report.reason == "One thing must be fixed: the hole is too small."


def test_findings_come_worst_first():
    levels = [finding.level for finding in check_demo("hares-wheel-1.stl").findings]
    order = [Level.MUST_FIX, Level.ADVICE, Level.PASSES]
    assert levels == sorted(levels, key=order.index)


def test_rubbish_is_a_rejection_in_plain_words():
    report = check_part(b"this is my homework", "wheel.stl")
    assert report.verdict is Verdict.REJECTED
    assert report.mesh is None
    assert report.findings[0].mend
