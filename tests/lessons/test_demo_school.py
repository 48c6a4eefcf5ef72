"""The invented school and its lesson: complete, consistent, readable, and with figures that can be computed again."""

from __future__ import annotations

import itertools
import json
import math
import re
from datetime import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

import demo_fixtures.build as build
from lessons.parts import axle_holder, chassis, wheel
from lessons.parts.cart import ROD_LENGTH_MM, ROD_MM
from lessons.parts.faults import LIGHT_RIM, SMALL_NARROW, SOLID_DISC
from lessons.parts.solids import MeshArrays
from lessons.parts.wheel import STARTING_WHEEL
from meshcheck.estimate import estimate
from meshcheck.types import Estimate, Gauge, Machine, Mesh, PrintSettings

SCHOOL: dict[str, Any] = json.loads((build.HERE / "school.json").read_text("utf-8"))
LESSON: dict[str, Any] = json.loads((build.HERE / SCHOOL["lesson_plans"][0]).read_text("utf-8"))
PLANS = [json.loads((build.HERE / name).read_text("utf-8")) for name in SCHOOL["lesson_plans"]]
LIMITS = {plan["code"]: plan["limits"] for plan in PLANS}
MANIFEST: dict[str, Any] = json.loads((build.HERE / "students.json").read_text("utf-8"))
ROOM = SCHOOL["room"]
KIT = {part["code"]: part for part in LESSON["kit"]}
DAY_KINDS = {kind["name"]: kind for kind in SCHOOL["day_kinds"]}
SPECIAL = {day["weekdays_ahead"]: day["day_kind"] for day in SCHOOL["special_days"]}


# Calendar, people, room -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", SCHOOL["day_kinds"], ids=lambda kind: kind["name"])
def test_a_day_has_seven_periods_and_lunch_that_do_not_overlap(kind: dict[str, Any]) -> None:
    rows = [(time.fromisoformat(p["starts_at"]), time.fromisoformat(p["ends_at"])) for p in kind["periods"]]
    assert [p["name"] for p in kind["periods"] if p["name"] != "Lunch"] == [f"Period {n}" for n in range(1, 8)]
    assert len(rows) == 8
    assert all(start < end for start, end in rows)
    assert all(end <= later for (_, end), (later, _) in itertools.pairwise(rows))


@pytest.mark.parametrize("kind", DAY_KINDS)
def test_the_room_is_not_staffed_over_lunch(kind: str) -> None:
    lunch = next(p for p in DAY_KINDS[kind]["periods"] if p["name"] == "Lunch")
    hours = [h for h in ROOM["hours"] if h["day_kind"] == kind]
    assert hours
    assert all(h["ends_at"] <= lunch["starts_at"] or h["starts_at"] >= lunch["ends_at"] for h in hours)


def test_more_than_one_lesson_is_given() -> None:
    given = {assignment["plan"] for c in SCHOOL["classes"] for assignment in c["assignments"]}
    assert given == {"coasting-mail-cart", "cargo-hull"}


def test_people_have_the_four_roles_and_every_class_a_teacher() -> None:
    roles = {person["username"]: person["role"] for person in SCHOOL["people"]}
    assert set(roles.values()) == {"teacher", "technician", "administrator"}
    assert list(roles.values()).count("teacher") == 2
    for school_class in SCHOOL["classes"]:
        assert all(roles[name] == "teacher" for name in school_class["teachers"])
    assert len({tuple(c["teachers"]) for c in SCHOOL["classes"]}) == 2


def test_five_printers_of_three_kinds_one_round_one_unattended() -> None:
    kinds = {kind["name"]: kind for kind in ROOM["printer_kinds"]}
    assert [p["name"] for p in ROOM["printers"]] == ["Wren", "Heron", "Kestrel", "Dipper", "Swift"]
    assert {p["kind"] for p in ROOM["printers"]} == set(kinds)
    assert [kind["bed"] for kind in kinds.values()].count("round") == 1
    assert sum(p["may_run_unattended"] for p in ROOM["printers"]) == 1
    assert ROOM["unattended_allowed"] is False
    assert len({Machine(**kind["machine"]) for kind in kinds.values()}) == 3


def test_every_printer_holds_a_spool_and_the_kits_colours_are_loaded() -> None:
    kinds = {kind["name"]: kind for kind in ROOM["spool_kinds"]}
    loaded = [spool["printer"] for spool in ROOM["spools"] if spool["printer"]]
    assert sorted(loaded) == sorted(p["name"] for p in ROOM["printers"])
    for spool in ROOM["spools"]:
        assert 0 < spool["grams_left"] <= kinds[spool["kind"]]["grams_full"]
        assert 150 <= kinds[spool["kind"]]["tare_g"] <= 300  # FACTS 3: usual, common practice
    colours = {spool["colour"] for spool in ROOM["spools"] if spool["printer"]}
    assert {part["colour"] for part in LESSON["kit"]} <= colours


def test_two_classes_of_eight_teams_and_two_more() -> None:
    assert {c["name"]: len(c["teams"]) for c in SCHOOL["classes"]} == {"7B": 8, "8A": 8, "6C": 4, "7D": 4}
    teams = [team for c in SCHOOL["classes"] for team in c["teams"]]
    assert all(len(team["students"]) == 3 for team in teams)
    for key in ("number", "tray", "name"):
        assert len({team[key] for team in teams}) == len(teams)
    nicknames = [name for team in teams for name in team["students"]]
    assert len({name.lower() for name in nicknames}) == len(nicknames) == 72
    assert {entry["team"] for entry in MANIFEST["files"]} <= {team["number"] for team in teams}


@pytest.mark.parametrize("school_class", SCHOOL["classes"], ids=lambda c: c["name"])
def test_meetings_lie_on_school_days_and_files_come_in_before(school_class: dict[str, Any]) -> None:
    meetings = {meeting["key"]: meeting for meeting in school_class["meetings"]}
    for meeting in meetings.values():
        kind = SPECIAL.get(meeting["weekdays_ahead"], "regular")
        assert kind is not None, "a meeting on a holiday"
        assert meeting["period"] in {p["name"] for p in DAY_KINDS[kind]["periods"]}
        assert len(meeting["purpose"]) <= 80
    for assignment in school_class["assignments"]:
        limits = LIMITS[assignment["plan"]]
        ahead = meetings[assignment["meeting"]]["weekdays_ahead"]
        assert 0 < assignment["upload_by"]["weekdays_ahead"] < ahead
        assert assignment["mass_max_g"] == limits["mass_max_g"]
        assert assignment["duration_max_s"] == limits["duration_max_s"]


# The lesson plan --------------------------------------------------------------------------------------------------


def test_the_plan_has_every_field() -> None:
    """FACTS 1c: the fields of published lesson plans."""
    asked = (
        "objectives standards subjects connection background assessment sources "
        "materials_per_team materials_shared preparation steps cautions vocabulary discussion "
        "differentiation extensions rubric troubleshooting experiment"
    )
    assert set(LESSON["content"]) == set(asked.split())
    assert all(LESSON["content"].values())
    assert {s["code"] for s in LESSON["content"]["standards"]} == {"MS-PS2-2", "MS-PS3-1", "MS-ETS1-3", "MS-ETS1-4"}


def test_steps_fill_the_meetings() -> None:
    minutes = dict.fromkeys(range(1, LESSON["meetings_count"] + 1), 0)
    for step in LESSON["content"]["steps"]:
        minutes[step["meeting"]] += step["minutes"]
    assert set(minutes.values()) == {50}  # the length of a regular period


def test_every_rubric_row_has_four_levels() -> None:
    assert all(len(row["levels"]) == 4 for row in LESSON["content"]["rubric"])


def test_every_caution_has_its_source_and_local_rules_come_first() -> None:
    cautions = LESSON["content"]["cautions"]
    assert all(caution["source"] for caution in cautions)
    assert {caution["when"] for caution in cautions} == {"printing", "tools", "lab day", "always"}
    assert cautions[-1]["text"] == "Your school's policy, the maker's instructions and local code come first."


def syllables(word: str) -> int:
    """Groups of vowels, a silent final e left out; at least one."""
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    silent = word.lower().endswith("e") and not word.lower().endswith(("le", "ee", "ie"))
    return max(1, groups - silent)


def reading_grade(texts: list[str]) -> float:
    """Flesch-Kincaid grade: 0.39 words/sentence + 11.8 syllables/word - 15.59 (Kincaid 1975, from memory)."""
    whole = " ".join(texts)
    sentences = max(1, len(re.findall(r"[.!?:](?:\s|$)", whole)))
    words = re.findall(r"[A-Za-z']+", whole)
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


@pytest.mark.parametrize("field", ["steps", "cautions", "vocabulary", "discussion", "kit"])
def test_what_students_read_is_at_grade_6(field: str) -> None:
    if field == "kit":
        texts = [part["task"] for part in LESSON["kit"] if part["task"]]
    elif field == "vocabulary":
        texts = [f"{row['meaning']}." for row in LESSON["content"]["vocabulary"]]
    else:
        rows = LESSON["content"][field]
        texts = [row if isinstance(row, str) else row["text"] for row in rows]
    assert reading_grade(texts) <= 6.9


def test_the_reading_test_can_fail() -> None:
    hard = "Rotational inertia characterises the distribution of mass about the instantaneous axis of revolution."
    assert reading_grade([hard]) > 12


# The kit ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", KIT)
def test_a_kit_part_has_its_mesh_and_settings_that_work_together(code: str) -> None:
    part = KIT[code]
    assert (build.HERE / part["file"]).is_file()
    PrintSettings(**{**part["settings"], "material": part["material"]})  # raises when they do not
    assert part["redesignable"] is (part["gauge"] is not None)
    assert part["copies_per_team"] + part["spares"] > 0


@pytest.mark.parametrize("kind", ROOM["printer_kinds"], ids=lambda kind: kind["name"])
@pytest.mark.parametrize("code", KIT)
def test_every_kit_part_fits_on_every_bed(code: str, kind: dict[str, Any]) -> None:
    x, y, z = np.ptp(trimesh.load(build.HERE / KIT[code]["file"]).bounds, axis=0)
    margin = 2 * kind["margin_mm"]
    assert z <= kind["height_mm"]
    if kind["bed"] == "round":
        assert math.hypot(x, y) <= kind["width_mm"] - margin
    else:
        assert max(x, y) <= min(kind["width_mm"], kind["depth_mm"]) - margin


def test_the_kits_own_wheel_keeps_its_gauge() -> None:
    row = dict(KIT["wheel"]["gauge"])
    size = tuple(row.pop(f"size_{axis}_mm") for axis in "xyz")
    assert row.pop("hub_diameter_mm") == STARTING_WHEEL.hub_diameter_mm
    gauge = Gauge(**row, size_max_mm=size)
    free_mm = STARTING_WHEEL.bore_mm * math.cos(math.pi / STARTING_WHEEL.bore_facets)
    assert gauge.hole_diameter_mm is not None
    assert gauge.hole_diameter_mm - gauge.hole_minus_mm <= free_mm
    assert gauge.hole_diameter_mm + gauge.hole_plus_mm >= STARTING_WHEEL.bore_mm
    assert gauge.hole_depth_mm == STARTING_WHEEL.hub_width_mm
    assert all(part <= limit for part, limit in zip((60, 60, 8), size, strict=True))


# Figures, computed again ------------------------------------------------------------------------------------------


def estimated(mesh: MeshArrays, code: str) -> Estimate:
    """The part alone on a printer of the kind 'Steady 220', the slowest of the room."""
    part = KIT[code]
    settings = PrintSettings(**{**part["settings"], "material": part["material"]})
    vertices, faces = mesh
    made = estimate(Mesh(vertices, faces, np.zeros(len(faces), np.int32)), settings, Machine(), None)
    assert isinstance(made, Estimate)
    return made


DRAWN = {
    "starting wheel": STARTING_WHEEL,
    "lighter rim": LIGHT_RIM,
    "solid disc": SOLID_DISC,
    "small and narrow": SMALL_NARROW,
}


def test_the_cart_without_wheels_weighs_what_the_plan_says() -> None:
    """Two steel rods at 7.85 g/cm3 (handbook value, from memory) and four stops of 0.3 g (a guess)."""
    rods_g = 2 * math.pi / 4 * ROD_MM**2 * ROD_LENGTH_MM * 7.85e-3
    printed_g = estimated(chassis(), "chassis").mass_g + 4 * estimated(axle_holder(), "axle-holder").mass_g
    said = LESSON["content"]["experiment"]["expected"]["cart_without_wheels_g"]
    assert printed_g + rods_g + 4 * 0.3 == pytest.approx(said, rel=0.03)


@pytest.mark.parametrize(
    "row", LESSON["content"]["experiment"]["expected"]["rows"], ids=lambda row: row["wheel"].replace(" ", "-")
)
def test_expected_times_follow_from_the_parts(row: dict[str, Any]) -> None:
    """FACTS 4: a = g sin(th) (M + n m) / (M + n m + n I/R^2), from the energy; sin(th) = rise / length."""
    design = DRAWN[row["wheel"]]
    mass_g = estimated(wheel(design), "wheel").mass_g
    shape = trimesh.Trimesh(*wheel(design))
    inertia_g_cm2 = mass_g / shape.volume * shape.moment_inertia[2, 2] / 100  # mm2 to cm2
    assert mass_g == pytest.approx(row["mass_g"], rel=0.03)
    assert inertia_g_cm2 == pytest.approx(row["spin_inertia_g_cm2"], rel=0.03)
    experiment = LESSON["content"]["experiment"]
    length_m, rise_m = experiment["track_length_m"], experiment["track_rise_m"]
    spin_g = 4 * inertia_g_cm2 / (design.radius_mm / 10) ** 2
    for load_g, said_s in row["time_s"].items():
        mass = experiment["expected"]["cart_without_wheels_g"] + float(load_g) + 4 * mass_g
        acceleration = 9.80665 * rise_m / length_m * mass / (mass + spin_g)
        assert math.sqrt(2 * length_m / acceleration) == pytest.approx(said_s, abs=0.012)


def test_the_starting_wheel_and_every_sound_file_keep_the_limits() -> None:
    limits = LESSON["limits"]
    for name in ["../kit/wheel.stl", *(e["file"] for e in MANIFEST["files"] if e["verdict"] == "ok")]:
        path: Path = build.HERE / "meshes" / "students" / name
        shape = trimesh.load(path, force="mesh")
        assert isinstance(shape, trimesh.Trimesh)
        body = max(shape.split(), key=lambda b: b.volume)  # four wheels in a file: the limit is for one
        mesh = (np.ascontiguousarray(body.vertices), np.ascontiguousarray(body.faces.astype(np.int32)))
        made = estimated(mesh, "wheel")
        assert made.mass_g < limits["mass_max_g"], name
        assert made.duration_s < limits["duration_max_s"], name


def test_the_page_about_plans_names_every_field() -> None:
    page = (build.HERE.parent / "docs" / "lesson-plan.md").read_text("utf-8")
    content = LESSON["content"]
    rows = [row for field in content.values() if isinstance(field, list) for row in field if isinstance(row, dict)]
    names = {*content, *content["experiment"], *(key for row in rows for key in row)} | set(LESSON) - {"content"}
    assert [name for name in sorted(names) if f"`{name}`" not in page] == []
