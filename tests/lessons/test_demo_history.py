"""The invented past: computed estimates, believable runs, and what the printers learn from them."""

from __future__ import annotations

import json

import pytest

from lessons.models import SchoolClass
from makerlab.demo import past_runs
from makerlab.demo.loader import Builder
from printing.learning import learn, lesson_of
from printing.models import Plate, PrintCopy, Printer, Run, RunCopy, Spool

STORED = json.loads(past_runs.PATH.read_text("utf-8"))["runs"]


def test_the_stored_file_is_what_the_module_writes() -> None:
    made = past_runs.past_runs()
    assert len(made) == len(STORED) > 100
    for run, stored in zip(made, STORED, strict=True):
        assert {**run, "estimate_s": 0, "ended_s": 0, "cleared_s": 0, "estimate_g": 0, "weighed_g": 0, "used_g": 0} == {
            **stored, "estimate_s": 0, "ended_s": 0, "cleared_s": 0, "estimate_g": 0, "weighed_g": 0, "used_g": 0,
        }  # fmt: skip
        for name in ("estimate_s", "estimate_g", "cleared_s", "used_g"):
            assert run[name] == pytest.approx(stored[name], rel=0.01), name


def test_it_says_that_nothing_was_measured() -> None:
    assert "No real printer was measured." in past_runs.PATH.read_text("utf-8")


@pytest.fixture
def built(db, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return Builder().build()


def test_every_run_stands_in_the_database_with_its_copies(built) -> None:
    assert Run.objects.count() == Plate.objects.count() == len(STORED)
    assert RunCopy.objects.count() == sum(run["copies"] for run in STORED)
    assert RunCopy.objects.filter(good=False).count() == sum(len(run["lost"]) for run in STORED)
    assert not PrintCopy.objects.filter(state__in=["waiting", "planned", "printing"]).exists()
    assert SchoolClass.objects.get(name="Cart club (over)").archived_at is not None
    assert not Spool.objects.filter(maker="").exists()


@pytest.mark.parametrize("name", sorted(past_runs.TRUTHS))
def test_the_printers_learn_what_they_are_like(built, name: str) -> None:
    """One draw of nine in ten for each of ten figures; the seed is such that all of them hold but what drifts."""
    truth = past_runs.TRUTHS[name]
    printer = Printer.objects.get(name=name)
    lesson = lesson_of(learn(printer.room_id), printer, "PLA")
    assert lesson.calibration.runs >= 12
    if truth.slower_since:
        assert lesson.drift is not None
        assert lesson.drift.share == pytest.approx(truth.slower_by, abs=0.06)
        return
    assert lesson.drift is None
    wanted = truth.factor * 7200 + truth.fixed_s
    assert wanted in lesson.duration(7200).interval
    assert lesson.calibration.grams_factor == pytest.approx(past_runs.GRAMS_FACTOR, abs=0.03)


def test_a_run_noted_the_next_morning_is_set_aside(built) -> None:
    printer = Printer.objects.get(name="Heron")
    lesson = lesson_of(learn(printer.room_id), printer, "PLA")
    assert len(lesson.calibration.set_aside) == 1
