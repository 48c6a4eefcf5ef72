"""The check as a job: real files, the real engine, a real child process; and what happens when the child fails."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from django.core.files.base import ContentFile

from lessons import measuring
from lessons.measuring import Room, is_plain_drawing, is_whole, room_of
from lessons.models import KitPart, PartGauge
from lessons.parts import wheel
from lessons.parts.files import stl_binary
from lessons.parts.wheel import STARTING_WHEEL
from makerlab.work import child
from makerlab.work.actions import claim, enqueue, run, run_waiting
from makerlab.work.models import Job
from meshcheck.types import Machine
from submissions import actions
from submissions.models import Submission
from tests.submissions.make import make_submission, report, stl_upload, wheel_stl

pytestmark = pytest.mark.django_db

FILES = Path(__file__).resolve().parents[2] / "demo_fixtures" / "meshes" / "students"
LESSON = json.loads((FILES.parents[1] / "lessons" / "coasting-mail-cart.json").read_text(encoding="utf-8"))
GAUGE = next(part["gauge"] for part in LESSON["kit"] if part["code"] == "wheel")
EXPECTED = {
    entry["file"]: entry
    for entry in json.loads((FILES.parent.parent / "students.json").read_text(encoding="utf-8"))["files"]
}


@pytest.fixture
def nothing_slow(monkeypatch):
    """For tests of failing children: the child is told to fail at once."""

    def failing(why: str):
        def fail(target, arguments):
            raise child.ChildFailed(why)

        monkeypatch.setattr(child, "run", fail)

    return failing


def upload(world, content: bytes, name: str = "pips-wheel.stl") -> Submission:
    return actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(content, name))


def test_upload_to_report_with_the_real_engine(world):
    submission = upload(world, stl_binary(wheel(replace(STARTING_WHEEL, facets=64, bore_facets=64))))
    assert run_waiting("measure") == 1
    submission.refresh_from_db()
    assert submission.check_state == "checked"
    assert submission.verdict == "ok", submission.findings
    assert submission.is_printable
    # known by construction: a wheel of 60 mm, 8 mm wide, with a hole of 3.2 mm right through
    assert submission.width_mm == pytest.approx(2 * STARTING_WHEEL.radius_mm, abs=0.1)
    assert submission.height_mm == pytest.approx(STARTING_WHEEL.hub_width_mm, abs=1e-3)
    hole = submission.report["holes"][0]
    assert hole["diameter_mm"] == pytest.approx(3.2, abs=1e-3)
    assert hole["through"] is True
    # a hole drawn with 64 flats passes a bar of d cos(pi / 64): plane geometry
    assert hole["free_diameter_mm"] == pytest.approx(3.2 * math.cos(math.pi / 64), abs=2e-3)
    assert submission.picture.startswith("<svg")
    assert submission.check_s > 0
    assert Job.objects.get().state == Job.State.DONE


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_every_student_file_of_the_demo_gets_its_verdict(world, name):
    expected = EXPECTED[name]
    PartGauge.objects.filter(kit_part=world.wheel).update(**GAUGE)
    submission = upload(world, (FILES / name).read_bytes(), name)
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.check_state == "checked", submission.check_error
    codes = {finding["code"] for finding in submission.findings}
    assert submission.verdict == expected["verdict"], sorted(codes)


def test_a_file_that_is_no_mesh_is_kept_with_a_reason(world):
    content = b"Dear teacher, here is my wheel."
    submission = upload(world, content)
    run_waiting("measure")
    submission.refresh_from_db()
    assert (submission.check_state, submission.verdict) == ("checked", "rejected")
    assert submission.report["reason"]
    assert Path(submission.file.path).read_bytes() == content
    assert not submission.is_printable


def test_limits_of_the_assignment_reach_the_check(world):
    world.assignment.mass_max_g = 0.5
    world.assignment.save()
    submission = upload(world, wheel_stl())
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.verdict == "must_fix"
    assert "too_heavy" in {finding["code"] for finding in submission.findings}


def test_reading_in_inches_measures_the_same_upload_again(world):
    """A wheel drawn in inches: every length of the file is 25.4 times too small (1 in = 25.4 mm exactly)."""
    vertices, faces = wheel(replace(STARTING_WHEEL, facets=64, bore_facets=64))
    submission = upload(world, stl_binary((vertices / 25.4, faces)))
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.report["unit_proposed"] == "inch", submission.report["unit_reason"]
    actions.reread_in_unit(world.student, submission, "inch")
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.width_mm == pytest.approx(2 * STARTING_WHEEL.radius_mm, abs=0.1)
    assert submission.verdict == "ok"
    assert Job.objects.count() == 2


def test_a_late_result_in_the_old_unit_is_not_written(world):
    submission = make_submission(world, check_state="checking")
    measured = {"report": report("must_fix"), "picture": "", "check_s": 0.1}
    Submission.objects.filter(pk=submission.pk).update(unit="inch")
    assert measuring.apply_measurement(submission, measured) is False
    submission.refresh_from_db()
    assert (submission.check_state, submission.verdict) == ("checking", "ok")


# ---- when the child fails ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("why", "says"), [("time", "too long"), ("memory", "memory"), ("crash", "could not finish")])
def test_three_failures_end_with_a_plain_message(world, nothing_slow, why, says):
    nothing_slow(why)
    submission = upload(world, wheel_stl())
    assert run_waiting("measure") == 3
    submission.refresh_from_db()
    assert submission.check_state == "failed"
    assert says in submission.check_error
    assert "kept" in submission.check_error
    assert Path(submission.file.path).exists()
    assert Job.objects.get().state == Job.State.FAILED


def test_a_failure_is_tried_again_and_the_second_try_counts(world, nothing_slow, monkeypatch):
    submission = upload(world, wheel_stl())
    with monkeypatch.context():
        nothing_slow("crash")
        run(claim("measure"))
    submission.refresh_from_db()
    assert submission.check_state == "checking"
    monkeypatch.undo()
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.check_state == "checked"
    assert Job.objects.get().attempt == 2


def test_a_child_out_of_memory_is_told_apart(world, settings):
    """The real child under a real limit: no page more than it has, for a mesh of 60,000 triangles."""
    settings.CHILD_MEMORY_BYTES = 10 * 1024**2
    many = stl_binary(wheel(replace(STARTING_WHEEL, facets=6000, bore_facets=2000)))
    assert len(many) > 1_000_000
    submission = upload(world, many)
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.check_state == "failed"
    assert "memory" in submission.check_error
    assert Path(submission.file.path).exists()


def test_a_child_that_takes_too_long_is_ended(world, settings):
    settings.CHILD_WALL_S = 0.001
    submission = upload(world, wheel_stl())
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.check_state == "failed"
    assert "too long" in submission.check_error


def test_a_missing_file_gives_up_at_once(world):
    submission = upload(world, wheel_stl())
    Path(submission.file.path).unlink()
    assert run_waiting("measure") == 1
    submission.refresh_from_db()
    assert submission.check_state == "failed"
    assert "missing" in submission.check_error


def test_an_upload_deleted_meanwhile_ends_its_job(world):
    upload(world, wheel_stl()).delete()
    assert run_waiting("measure") == 1
    assert Job.objects.get().state == Job.State.FAILED


def test_settings_that_cannot_work_are_said(world):
    KitPart.objects.filter(pk=world.wheel.pk).update(settings={"line_width_mm": 9.0})
    submission = upload(world, wheel_stl())
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.check_state == "failed"
    assert "print settings" in submission.check_error


# ---- kit parts -----------------------------------------------------------------------------------------------


def test_a_kit_part_is_measured_too(world):
    part = world.wheel
    part.file.save("", ContentFile(stl_binary(wheel())), save=False)
    part.check_state = "checking"
    part.save()
    enqueue("check-kit-part", part.pk, world.school.pk)
    run_waiting("measure")
    part.refresh_from_db()
    assert (part.check_state, part.verdict) == ("checked", "ok"), part.findings
    assert part.report["holes"][0]["diameter_mm"] == pytest.approx(3.2, abs=1e-3)
    assert part.is_printable


# ---- what the child may answer, what the room tells ----------------------------------------------------------


@pytest.mark.parametrize(
    ("answer", "whole"),
    [
        ({"report": report(), "picture": "<svg><path d='M0 0'/></svg>"}, True),
        ({"report": report("rejected", bbox_mm=None), "picture": ""}, True),
        ({"report": report(verdict="ok") | {"verdict": "fine"}, "picture": ""}, False),
        ({"report": {"verdict": "ok"}, "picture": ""}, False),
        ({"report": report(), "picture": None}, False),
        ({"report": report(), "picture": "<svg><script/></svg>"}, False),
        (["report"], False),
        (None, False),
    ],
)
def test_only_a_whole_answer_counts(answer, whole):
    assert is_whole(answer) is whole


@pytest.mark.parametrize(
    "svg",
    [
        "<svg onload='x()'/>",
        "<svg><a href='/'/></svg>",
        "<svg><image href='x'/></svg>",
        "<svg><path href='x'/></svg>",
        "<p>hello</p>",
        "<svg>",
        "<!DOCTYPE svg [<!ENTITY a 'b'>]><svg>&a;</svg>",
        "<svg xmlns='http://www.w3.org/2000/svg'><foreignObject/></svg>",
    ],
)
def test_a_picture_that_is_more_than_a_picture_is_refused(svg):
    assert not is_plain_drawing(svg)


def test_a_room_is_what_printing_says(monkeypatch):
    monkeypatch.setattr(measuring, "room_sources", [])
    assert room_of(1) == Room(Machine(), None)
    monkeypatch.setattr(measuring, "room_sources", [lambda school_id: Room(bed_mm=(1.0, 2.0, float(school_id)))])
    assert room_of(7).bed_mm == (1.0, 2.0, 7.0)
