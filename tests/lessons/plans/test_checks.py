"""What is written for a plan: every fault at its place, every good value kept, the demo's lessons pass as they are."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from lessons.actions.plans import OWN
from lessons.plans.changes import changes_between
from lessons.plans.checks import check_plan
from lessons.plans.minutes import minutes_of
from lessons.plans.standards import STANDARDS, paraphrase
from tests.conftest import ROOT

LESSONS = sorted((ROOT / "demo_fixtures" / "lessons").glob("*.json"))
STEP = {"meeting": 1, "minutes": 20, "title": "Build", "text": "Build it."}


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_every_lesson_of_the_demo_is_kept_as_it_is(path: Path):
    lesson = json.loads(path.read_text("utf-8"))
    checked = check_plan({name: lesson[name] for name in OWN}, lesson["content"])
    assert (checked.errors, checked.ignored) == ({}, [])
    assert checked.content == lesson["content"]


@pytest.mark.parametrize(
    ("part", "row", "column"),
    [
        ("steps", {**STEP, "minutes": "soon"}, "minutes"),
        ("steps", {**STEP, "minutes": 0}, "minutes"),
        ("steps", {**STEP, "minutes": 12.5}, "minutes"),
        ("steps", {**STEP, "minutes": True}, "minutes"),
        ("steps", {**STEP, "minutes": 10**400}, "minutes"),
        ("steps", {**STEP, "meeting": 9}, "meeting"),
        ("steps", {**STEP, "title": ""}, "title"),
        ("steps", {**STEP, "title": "x" * 201}, "title"),
        ("steps", {**STEP, "kind": "flying"}, "kind"),
        ("steps", {**STEP, "text": ["list"]}, "text"),
        ("materials_per_team", {"what": "rod", "quantity": "-1"}, "quantity"),
        ("materials_per_team", {"what": "rod", "quantity": float("nan")}, "quantity"),
        ("materials_per_team", {"what": "rod", "quantity": 1, "price": "cheap"}, "price"),
        ("cautions", {"when": "never", "text": "x", "source": "y"}, "when"),
        ("cautions", {"when": "tools", "text": "x"}, "source"),
        ("rubric", {"row": "Data", "levels": ["a", "b", "c"]}, "level4"),
        ("objectives", 7, "text"),
        ("vocabulary", "load", "word"),
    ],
)
def test_a_fault_is_told_at_its_place(part, row, column):
    checked = check_plan({"meetings_count": 2}, {part: [row]})
    assert list(checked.errors) == [(part, 0, column)]
    assert checked.errors[part, 0, column]


def test_numbers_as_people_type_them_and_empty_rows():
    content = {"materials_per_team": [{"what": " rod ", "quantity": "2,5"}, {"what": "", "quantity": "1"}]}
    checked = check_plan({"title": "T", "meetings_count": "6"}, content)
    assert checked.errors == {}
    assert checked.fields == {"title": "T", "meetings_count": 6}
    assert checked.content["materials_per_team"] == [{"what": "rod", "quantity": 2.5, "note": ""}]


def test_unknown_fields_are_told_and_left_out():
    checked = check_plan({"colour": "red"}, {"jokes": ["a"], "vocabulary": [{"word": "a", "meaning": "b", "x": 1}]})
    assert checked.ignored == ["colour", "jokes", "vocabulary: x"]
    assert checked.content == {"vocabulary": [{"word": "a", "meaning": "b"}]}


def test_an_experiment_that_cannot_be_run_is_refused_and_a_bottomless_one_too():
    deep: dict = {}
    for _ in range(100_000):
        deep = {"a": deep}
    for wrong in ({"changed": {}}, "text", [1], {"a": "x" * 50_000}, deep):
        checked = check_plan({}, {"experiment": wrong})
        assert list(checked.errors) == [("experiment", -1, "")]
        assert "experiment" not in checked.content


def test_minutes_that_do_not_add_up_are_told_by_how_much():
    content = {"steps": [STEP, {**STEP, "minutes": 35}, {**STEP, "meeting": 2, "minutes": 50}]}
    off = minutes_of(content, 3, 50)
    assert [(each.number, each.off) for each in off] == [(1, 5), (2, 0), (3, -50)]
    assert "5 min too many" in off[0].told


def test_what_changed_is_said_in_words():
    old = {"title": "A", "content": {"objectives": ["one", "two"], "steps": [STEP]}}
    new = {"title": "B", "content": {"objectives": ["one", "three", "four"], "steps": [{**STEP, "minutes": 25}]}}
    found = [(change.part, change.kind, change.before, change.after) for change in changes_between(old, new)]
    assert found == [
        ("Title", "changed", "A", "B"),
        ("Objectives", "changed", "two", "three"),
        ("Objectives", "added", "", "four"),
        ("Steps", "changed", "Meeting 1, Minutes 20, Build, Build it.", "Meeting 1, Minutes 25, Build, Build it."),
    ]
    assert changes_between(old, old) == []
    moved = {**old, "content": {**old["content"], "objectives": ["two", "one"]}}
    assert [change.kind for change in changes_between(old, moved)] == ["put in another order"]


def test_standards_are_looked_up_by_code():
    assert paraphrase(" MS-PS2-2 ") == STANDARDS["MS-PS2-2"]
    assert paraphrase("TX.112") == ""


@pytest.mark.parametrize("meeting", ["", None, "two", "1.5", {}])
def test_a_step_without_a_meeting_yet_is_told_and_breaks_nothing(meeting):
    """As the preview gets it while a row is being written."""
    checked = check_plan({"meetings_count": 2}, {"steps": [STEP, {**STEP, "meeting": meeting}]})
    assert ("steps", 1, "meeting") in checked.errors
    assert len(checked.content["steps"]) == 2
