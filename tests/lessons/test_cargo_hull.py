"""The cargo hull: its part by closed forms and a second library, its lesson complete, its figures computed again."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from io import StringIO
from typing import Any

import numpy as np
import pytest
import trimesh
from django.core.management import call_command
from manifold3d import Manifold

import demo_fixtures.build as build
from lessons.lab.experiment import Best, read_experiment
from lessons.parts import STARTING_HULL, HullDesign, hull
from lessons.parts.hull import MAST_HOLE_DEPTH_MM, MAST_HOLE_MM, MAST_MM, STEP_HEIGHT_MM, hull_solid, outer_solid
from lessons.science.floating import Displacement, displacement
from meshcheck.estimate import estimate
from meshcheck.types import Estimate, Machine, Mesh, PrintSettings
from tests.lessons.test_demo_school import reading_grade

LESSON: dict[str, Any] = json.loads((build.HERE / "lessons" / "cargo-hull.json").read_text("utf-8"))
CONTENT = LESSON["content"]
EXPERIMENT = CONTENT["experiment"]
PART = LESSON["kit"][0]
MAST_G = 1.0

DESIGNS = {
    "starting hull": STARTING_HULL,
    "flared sides": HullDesign(flare_mm=5.0),
    "thin and high": HullDesign(height_mm=40.0, wall_mm=1.2, floor_mm=1.2),
    "fills the box": HullDesign(100.0, 60.0, 40.0, 10.0),
}


def float_of(design: HullDesign) -> Displacement:
    """From sections of the outside as manifold3d cuts them; a hair inside both ends."""
    heights = np.linspace(0.0, design.height_mm, 201)
    outside = outer_solid(design)
    cuts = np.clip(heights, 1e-6, design.height_mm - 1e-6)
    return displacement([float(h) for h in heights], [outside.slice(float(h)).area() for h in cuts])


def estimated(design: HullDesign) -> Estimate:
    vertices, faces = hull(design)
    settings = PrintSettings(**{**PART["settings"], "material": PART["material"]})
    made = estimate(Mesh(vertices, faces, np.zeros(len(faces), np.int32)), settings, Machine(), None)
    assert isinstance(made, Estimate)
    return made


# The part ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DESIGNS)
def test_a_hull_is_one_closed_body_that_holds_water(name: str) -> None:
    """Euler number 2: no opening through any wall, so water comes in over the edge alone."""
    shape = trimesh.Trimesh(*hull(DESIGNS[name]), process=False)
    assert shape.is_watertight
    assert (shape.body_count, shape.euler_number) == (1, 2)
    assert shape.bounds[0, 2] == 0.0


@pytest.mark.parametrize("name", DESIGNS)
def test_a_hull_needs_no_support(name: str) -> None:
    """Ends lean out by atan(rake / height); the limit of 45 degrees from vertical: FACTS 3."""
    design = DESIGNS[name]
    shape = trimesh.Trimesh(*hull(design), process=False)
    off_bed = (shape.triangles[:, :, 2].max(axis=1) > 1e-6) & (shape.area_faces > 1e-9)
    steepest = math.degrees(math.asin(max(0.0, float(-shape.face_normals[off_bed, 2].min()))))
    lean = math.degrees(math.atan(max(design.rake_mm, design.flare_mm) / design.height_mm))
    assert steepest == pytest.approx(lean, abs=0.1)
    assert steepest < 44


@pytest.mark.parametrize("name", DESIGNS)
def test_the_outside_has_the_volume_of_the_prismatoid(name: str) -> None:
    """Prismatoid rule: h / 6 (low + 4 middle + high), exact for straight walls."""
    d = DESIGNS[name]
    low = (d.floor_length_mm, d.floor_width_mm)
    high = (low[0] + 2 * d.rake_mm, low[1] + 2 * d.flare_mm)
    middle = ((low[0] + high[0]) / 2, (low[1] + high[1]) / 2)
    expected = d.height_mm / 6 * (math.prod(low) + 4 * math.prod(middle) + math.prod(high))
    assert outer_solid(d).volume() == pytest.approx(expected, rel=1e-9)
    assert float_of(d).volumes_mm3[-1] == pytest.approx(expected, rel=1e-4)


def test_the_mast_goes_in_to_the_bottom_of_its_hole_and_no_further() -> None:
    bottom = STEP_HEIGHT_MM - MAST_HOLE_DEPTH_MM
    solid = hull_solid(STARTING_HULL)
    mast = Manifold.cylinder(80.0, MAST_MM / 2, MAST_MM / 2, 128).translate((0, 0, bottom))
    assert (solid ^ mast).volume() < 1e-9
    assert (solid ^ mast.translate((0, 0, -0.5))).volume() > 5
    thick = Manifold.cylinder(80.0, 2.65, 2.65, 128).translate((0, 0, bottom))
    assert (solid ^ thick).volume() > 1
    assert pytest.approx(0.2) == MAST_HOLE_MM - MAST_MM  # slip fit: FACTS 3


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"wall_mm": 1.0}, "walls need"),
        ({"floor_mm": 1.0}, "floor needs"),
        ({"height_mm": 11.0}, "mast step"),
        ({"floor_width_mm": 16.0}, "no room"),
        ({"rake_mm": 32.0}, "45 degrees"),
    ],
)
def test_a_hull_that_cannot_be_built_is_refused_in_plain_words(changes: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        replace(STARTING_HULL, **changes)


def test_our_own_check_passes_the_kits_hull_with_its_gauge_and_limits() -> None:
    out = StringIO()
    call_command("checkpart", str(build.HERE / PART["file"]), "--part", "hull", "--json", stdout=out)
    (report,) = json.loads(out.getvalue())
    assert report["verdict"] == "ok"
    assert report["watertight"]
    assert report["min_wall_mm"] >= 1.2


# The lesson -------------------------------------------------------------------------------------------------------


def test_the_plan_has_every_field_of_the_first_lesson() -> None:
    first = json.loads((build.HERE / "lessons" / "coasting-mail-cart.json").read_text("utf-8"))
    assert set(first) == set(LESSON)
    assert set(first["content"]) - {"physics"} <= set(CONTENT)
    assert all(CONTENT.values())


def test_steps_fill_the_meetings() -> None:
    minutes = dict.fromkeys(range(1, LESSON["meetings_count"] + 1), 0)
    for step in CONTENT["steps"]:
        minutes[step["meeting"]] += step["minutes"]
    assert set(minutes.values()) == {50}


def test_rubric_and_cautions_are_whole() -> None:
    assert all(len(row["levels"]) == 4 for row in CONTENT["rubric"])
    assert all(caution["source"] for caution in CONTENT["cautions"])
    assert {caution["when"] for caution in CONTENT["cautions"]} == {"printing", "tools", "lab day", "always"}
    assert any("plugs" in caution["text"] for caution in CONTENT["cautions"])  # water beside electricity
    assert (
        CONTENT["cautions"][-1]["text"] == "Your school's policy, the maker's instructions and local code come first."
    )


@pytest.mark.parametrize("field", ["steps", "cautions", "vocabulary", "discussion", "kit"])
def test_what_students_read_is_at_grade_6(field: str) -> None:
    texts = {
        "steps": [row["text"] for row in CONTENT["steps"]],
        "cautions": [row["text"] for row in CONTENT["cautions"]],
        "vocabulary": [f"{row['meaning']}." for row in CONTENT["vocabulary"]],
        "discussion": CONTENT["discussion"],
        "kit": [PART["task"]],
    }[field]
    assert reading_grade(texts) <= 6.9


def test_the_experiment_reads() -> None:
    found = read_experiment(CONTENT)
    assert found is not None
    assert (found.values, found.measured.unit, found.best) == ((0.0, 80.0, 40.0), "mm", Best.HIGH)
    assert found.ramp is None
    assert not found.is_timed


def test_the_page_about_plans_names_every_key() -> None:
    page = (build.HERE.parent / "docs" / "lesson-plan.md").read_text("utf-8")
    names = {*EXPERIMENT, *EXPERIMENT["expected"], *EXPERIMENT["expected"]["rows"][0]}
    assert [name for name in sorted(names) if f"`{name}`" not in page] == []


# Figures, computed again ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", EXPERIMENT["expected"]["rows"], ids=lambda row: row["hull"])
def test_the_expected_figures_follow_from_the_hull(row: dict[str, Any]) -> None:
    design = DESIGNS[row["hull"]]
    assert estimated(design).mass_g == pytest.approx(row["mass_g"], abs=0.06)
    water, own = float_of(design), row["mass_g"] + MAST_G
    assert water.load_before_sinking_g(own) == pytest.approx(row["load_before_sinking_g"], abs=0.6)
    for load, freeboard in row["freeboard_mm"].items():
        assert water.freeboard_mm(own + float(load)) == pytest.approx(freeboard, abs=0.06)


def test_the_notes_about_the_line_are_right() -> None:
    row = EXPERIMENT["expected"]["rows"][0]["freeboard_mm"]
    water, own = float_of(STARTING_HULL), 27.3
    none, eighty, forty = (float(water.freeboard_mm(own + load)) for load in (0, 80, 40))  # type: ignore[arg-type]
    assert round((none + eighty) / 2, 1) == 17.0 > row["40"] == round(forty, 1)
    assert 80 * none / (none - eighty) == pytest.approx(120, abs=0.6)
    assert 52 * math.tan(math.radians(2)) == pytest.approx(1.8, abs=0.05)


def test_the_limits_hold_the_starting_hull_and_refuse_a_wasteful_one() -> None:
    limits = LESSON["limits"]
    start, wasteful = estimated(STARTING_HULL), estimated(DESIGNS["fills the box"])
    assert start.mass_g < limits["mass_max_g"] < wasteful.mass_g
    assert max(start.duration_s, wasteful.duration_s) < limits["duration_max_s"]
    assert "26.3 g and 105 min" in limits["why"]
    assert (round(start.mass_g, 1), round(start.duration_s / 60)) == (26.3, 105)
    assert round(wasteful.mass_g, 1) == 38.3
