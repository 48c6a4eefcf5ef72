"""Does a file belong to the plate, fit the bed and suit the material?"""

from __future__ import annotations

import json

import pytest

from meshcheck.gcode.belongs import Tolerance, belongs_to_plate, fits_bed, suits_material, takes_as_long
from meshcheck.gcode.dialect import DIALECTS
from meshcheck.gcode.facts import GcodeFacts
from meshcheck.gcode.reader import read_gcode
from meshcheck.materials import MATERIALS
from meshcheck.service import read_prepared
from meshcheck.types import Finding, Level, Machine

PLA = MATERIALS["PLA"]
LAYERS, GRAMS_A_LAYER = 50, 0.2


def plate(*, x: float = 80, y: float = 60, layers: int = LAYERS, share: float = 1.0, nozzle: int = 205) -> str:
    """Rectangles of x by y from (50, 40) on, with a priming line at the bed's edge and a brim on the first layer."""
    e_mm = share * GRAMS_A_LAYER / PLA.density_g_cm3 * 1000 / (3.14159265 * 1.75**2 / 4) / 4
    lines = [f"M140 S55\nM109 S{nozzle}\nG28\nM83\nG1 F3000 X2 Y2 Z0.2\nG1 Y200 E0.01", "G1 X45 Y35\nG1 X140 E0.01"]
    for k in range(layers):
        corners = [(50 + x, 40), (50 + x, 40 + y), (50, 40 + y), (50, 40)]
        lines.append(f"G0 Z{0.2 * (k + 1):.1f}\nG0 X50 Y40")
        lines += [f"G1 X{a} Y{b} E{e_mm:.5f}" for a, b in corners]
    return "\n".join(lines)


def facts(**changes) -> GcodeFacts:
    return read_gcode(plate(**changes).encode(), DIALECTS["printer-ms"], Machine(), PLA)


def levels(findings: tuple[Finding, ...]) -> dict[str, Level]:
    return {finding.code: finding.level for finding in findings}


GOOD, WRONG = Level.PASSES, Level.MUST_FIX


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({}, set()),
        ({"x": 60, "y": 80}, set()),  # turned by a quarter
        ({"layers": 52}, set()),  # 10.4 mm for 10
        ({"layers": 60}, {"gcode_height"}),
        ({"layers": 30}, {"gcode_height", "gcode_grams"}),
        ({"share": 2.0}, {"gcode_grams"}),
        ({"share": 0.5}, {"gcode_grams"}),
        ({"x": 90}, {"gcode_extents"}),
    ],
)
def test_belongs_to_plate(changes: dict, wrong: set[str]) -> None:
    found = levels(belongs_to_plate(facts(**changes), 10.0, 10.0, (80.0, 60.0)))
    assert found == {
        code: WRONG if code in wrong else GOOD for code in ("gcode_height", "gcode_grams", "gcode_extents")
    }


def test_tolerance_is_the_callers() -> None:
    strict = Tolerance(height_mm=0.1, grams_share=0.01, grams=0.01, extents_mm=0.1)
    assert levels(belongs_to_plate(facts(layers=52), 10.0, 10.0, (80.0, 60.0), strict))["gcode_height"] is WRONG


def test_a_file_that_lays_nothing_down_belongs_nowhere() -> None:
    travels = read_gcode(b"G1 X10 F600", DIALECTS["printer-ms"], Machine(), PLA)
    assert levels(belongs_to_plate(travels, 10.0, 10.0, (80.0, 60.0))) == {"gcode_lays_nothing": WRONG}


def test_what_is_wrong_says_how_to_mend_it() -> None:
    for finding in belongs_to_plate(facts(layers=30, x=90), 10.0, 10.0, (80.0, 60.0)):
        assert finding.title
        assert finding.figure
        assert (finding.mend != "") == (finding.level is WRONG)


@pytest.mark.parametrize(
    ("high", "expected"),
    [
        ((220.0, 220.0, 200.0), {"gcode_on_bed": GOOD}),
        ((120.0, 220.0, 200.0), {"gcode_on_bed": WRONG, "gcode_leaves_bed": Level.ADVICE}),
    ],
)
def test_the_bed(high: tuple, expected: dict) -> None:
    assert levels(fits_bed(facts(), (0.0, 0.0, 0.0), high)) == expected


def test_a_head_that_parks_outside_is_only_advice() -> None:
    text = plate() + "\nG0 X-20 Y0"
    found = read_gcode(text.encode(), DIALECTS["printer-ms"], Machine(), PLA)
    assert levels(fits_bed(found, (0.0, 0.0, 0.0), (220.0, 220.0, 200.0))) == {
        "gcode_on_bed": GOOD,
        "gcode_leaves_bed": Level.ADVICE,
    }


@pytest.mark.parametrize(
    ("nozzle", "material", "expected"),
    [
        (205, "PLA", (GOOD, GOOD)),
        (250, "PLA", (WRONG, GOOD)),
        (205, "PETG", (WRONG, WRONG)),
        (230, "TPU", (GOOD, GOOD)),
    ],
)
def test_temperatures_against_the_material(nozzle: int, material: str, expected: tuple) -> None:
    # FACTS 3: PLA 190-220 and bed 20-60, PETG 220-250 and 60-90, TPU 220-250 and 20-60; the bed is asked for 55
    found = levels(suits_material(facts(nozzle=nozzle), MATERIALS[material]))
    assert (found["gcode_nozzle"], found["gcode_bed"]) == expected


def test_a_file_that_heats_nothing_is_worth_a_remark() -> None:
    found = read_gcode(b"G1 X10 E1 F600", DIALECTS["printer-ms"], Machine(), PLA)
    assert set(levels(suits_material(found, PLA)).values()) == {Level.ADVICE}


def test_the_service_answers_plain_values(tmp_path) -> None:
    path = tmp_path / "plate.txt"
    path.write_text(plate())
    wanted = {"height_mm": 10.0, "grams": 10.0, "extents_mm": [80.0, 60.0]}
    bed = [[0.0, 0.0, 0.0], [220.0, 220.0, 200.0]]
    answer = json.loads(json.dumps(read_prepared(str(path), "printer-ms", {}, "PLA", wanted, bed), allow_nan=False))
    assert answer["facts"]["layers"] == LAYERS
    assert {finding["level"] for finding in answer["findings"]} == {"passes"}
    path.write_text("G93\n")
    answer = read_prepared(str(path), "printer-ms", {}, "PLA", wanted, bed)
    assert answer["rejected"]["code"] == "feed_mode"


@pytest.mark.parametrize(("share", "level"), [(1.0, GOOD), (3.0, GOOD), (0.34, GOOD), (3.1, WRONG), (0.33, WRONG)])
def test_takes_as_long(share: float, level: Level) -> None:
    read = facts()
    (found,) = takes_as_long(read, share * read.duration_s)
    assert (found.code, found.level) == ("gcode_time", level)
