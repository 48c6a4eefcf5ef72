"""One school after a year's lessons: the pattern from which a district is copied. Rows only, figures stored.

A class has 30 students in ten teams, five lessons and 20 files a student, with the reviews, print requests, plates,
runs, readings, jobs and audit lines that come with them; the first classes are in the middle of their last lesson, and
the product's own planner plans what they wait for.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from random import Random
from typing import Any

from django.db import models
from django.utils import timezone

from lessons.models import (
    Argument,
    Assignment,
    KitPart,
    LabBoard,
    LessonPlan,
    Mark,
    Meeting,
    Membership,
    PartGauge,
    Reading,
    SchoolClass,
    Team,
)
from makerlab.accounts.models import Role, School, User
from makerlab.audit.models import Event
from makerlab.work import actions
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from printing.actions.ground import want_plan
from printing.models import Plate, PrintCopy, Printer, PrintRequest, Room, Run, RunCopy
from submissions.models import Review, Submission
from tests.lessons.lab.test_experiment import GOOD
from tests.printing.helpers import measured
from tests.world import make_kit_part, make_room

TEAMS, STUDENTS, LESSONS, VERSIONS = 10, 30, 5, 6
REDESIGNED = ("wheel", "body")  # 10 teams x 5 lessons x 2 parts x 6 versions: 600 files a class, 20 a student
COPIES = {"wheel": 4, "body": 1, "chassis": 1}
CLASSES_A_TEACHER, COPIES_A_PLATE = 5, 10
PICTURE_CHARACTERS = 2200  # of noise: long enough to lie outside the row, as a real one (10,000 to 62,000) does
RUBRIC = [{"row": name, "levels": ["a", "b", "c", "d"]} for name in ("plan", "data", "graph", "claim")]


@dataclass
class Pattern:
    """The school in the making."""

    school: School
    room: Room
    printers: list[Printer]
    staff: dict[str, User]
    plans: list[tuple[LessonPlan, dict[str, KitPart]]]
    now: datetime
    noise: Random = field(default_factory=lambda: Random(7))
    plates: int = 0
    rank: int = 0


@dataclass(frozen=True)
class Lesson:
    """One lesson of one class: who takes part, and when its lab day is."""

    assignment: Assignment
    parts: dict[str, KitPart]
    teams: list[Team]
    members: dict[int, list[User]]
    teacher: User
    at: datetime
    over: bool


def make_school(classes: int, in_the_middle: int) -> School:
    """Write a school of so many classes; so many of them have a lab day ahead and parts on their way."""
    with _own_times(Submission, Review, PrintRequest, Plate, Reading, Argument, Mark, Job, Event, Assignment):
        made = _begin()
        for number in range(classes):
            _class(made, number, in_the_middle)
    plan_room(made.school.pk)
    return made.school


def plan_room(school_id: int) -> None:
    """Plan the school's first room and look for a better plan, as the workers would. Parts without a stored file are
    planned by their figures."""
    want_plan(Room.objects.filter(school=school_id).order_by("pk")[0])
    for lane in (Lane.PLAN, Lane.CONSIDER):
        while (job := _next_of(school_id, lane)) is not None:
            actions.run(job)


def _next_of(school_id: int, lane: Lane) -> Job | None:
    waiting = Job.objects.filter(school=school_id, lane=lane, state=Job.State.WAITING).order_by("pk").first()
    return actions.claim(lane, waiting.pk) if waiting else None


@contextmanager
def _own_times(*kinds: type[models.Model]) -> Iterator[None]:
    """Rows get the moment they are given instead of now."""
    fields = [
        each
        for kind in kinds
        for each in kind._meta.concrete_fields
        if getattr(each, "auto_now_add", False) or getattr(each, "auto_now", False)
    ]
    before = [(each, each.auto_now_add, each.auto_now) for each in fields]
    for each in fields:
        each.auto_now_add = each.auto_now = False
    try:
        yield
    finally:
        for each, added, changed in before:
            each.auto_now_add, each.auto_now = added, changed


@cache
def _report(part: str) -> dict[str, Any]:
    """What the real check says of a part of the demo."""
    return measured("kit/chassis.stl" if part == "body" else "kit/wheel.stl")["report"]


def _own(report: dict[str, Any], noise: Random) -> dict[str, Any]:
    """The same of a design of somebody's own, up to a fifth lighter or heavier."""
    signature = report["signature"]
    return {**report, "signature": {**signature, "volume_mm3": signature["volume_mm3"] * noise.uniform(0.8, 1.2)}}


def _begin() -> Pattern:
    school = School.objects.create(name="School 000", time_zone="America/Chicago")
    room, printers = make_room(school)
    staff = {
        role: User.objects.create_staff(school, f"{role}-000", role, "three wooden wheels", role)
        for role in (Role.ADMINISTRATOR, Role.TECHNICIAN)
    }
    plans = []
    for number in range(LESSONS):
        content = {"experiment": GOOD, "rubric": RUBRIC}
        plan = LessonPlan.objects.create(
            school=school, title=f"Lesson {number + 1}", summary="Roll.", grade_band="6-8", content=content
        )
        parts = {
            code: make_kit_part(plan, code, copies_per_team=copies, redesignable=code in REDESIGNED, position=place)
            for place, (code, copies) in enumerate(COPIES.items())
        }
        PartGauge.objects.create(kit_part=parts["wheel"], hole_diameter_mm=3.2, hole_depth_mm=8.0, through=True)
        plans.append((plan, parts))
    return Pattern(school, room, printers, staff, plans, timezone.now().replace(second=0, microsecond=0))


def _class(made: Pattern, number: int, in_the_middle: int) -> None:
    if number % CLASSES_A_TEACHER == 0:
        name = f"teacher-{number // CLASSES_A_TEACHER + 1:02d}-000"
        made.staff["teacher"] = User.objects.create_staff(made.school, name, Role.TEACHER, "three wooden wheels", name)
    teacher = made.staff["teacher"]
    group = SchoolClass.objects.create(school=made.school, name=f"Class {number + 1:02d}", code=f"C{number:02d}000")
    group.teachers.add(teacher)
    teams = Team.objects.bulk_create(
        Team(school_class=group, number=place, name=f"Crew {place}", tray=place) for place in range(1, TEAMS + 1)
    )
    people = User.objects.bulk_create(
        User(school=made.school, role=Role.STUDENT, display_name=f"Pip {number} {place}", password="!")
        for place in range(STUDENTS)
    )
    Membership.objects.bulk_create(
        Membership(school_class=group, user=person, team=teams[place % TEAMS], nickname=f"Pip {place}")
        for place, person in enumerate(people)
    )
    members = {team.pk: people[place::TEAMS] for place, team in enumerate(teams)}
    for place, (plan, parts) in enumerate(made.plans):
        ahead = place == LESSONS - 1 and number < in_the_middle
        days = 3 + number % 5 if ahead else -35 * (LESSONS - place) - number % 5
        at = made.now + timedelta(days=days)
        meeting = Meeting.objects.create(
            school_class=group, starts_at=at, ends_at=at + timedelta(minutes=50), period="3"
        )
        assignment = Assignment.objects.create(
            plan=plan, school_class=group, meeting=meeting, created_by=teacher,
            created_at=min(at, made.now) - timedelta(days=20), upload_by=at - timedelta(days=1),
        )  # fmt: skip
        _lesson(made, Lesson(assignment, parts, teams, members, teacher, at, not ahead))


def _lesson(made: Pattern, lesson: Lesson) -> None:
    files = Submission.objects.bulk_create(_files(made, lesson))
    _after_files(made, lesson, files)
    _printed(made, lesson, [row for row in files if row.state == "approved"])
    if lesson.over:
        _lab(made, lesson)


def _files(made: Pattern, lesson: Lesson) -> Iterator[Submission]:
    """Six versions of each part a team; of a lesson in the middle every third team's last one waits for its review."""
    for place, team in enumerate(lesson.teams):
        for code in REDESIGNED:
            for version in range(1, VERSIONS + 1):
                report = _own(_report(code), made.noise)
                last = "handed_in" if not lesson.over and place % 3 == 0 else "approved"
                state = "replaced" if version < VERSIONS else last
                at = min(lesson.at, made.now) - timedelta(days=12 - version, minutes=17 * place)
                yield Submission(
                    assignment=lesson.assignment, kit_part=lesson.parts[code], team=team, version=version, state=state,
                    uploaded_by=lesson.members[team.pk][version % 3], uploaded_at=at, handed_in_at=at,
                    # what is planned has no file: the planner takes its figures
                    file="" if state == "approved" and not lesson.over else f"parts/{made.noise.randbytes(17).hex()}",
                    file_name=f"our-{code}-{version}.stl",
                    file_bytes=1_200_000, sha256=made.noise.randbytes(32).hex(), check_state="checked", checked_at=at,
                    check_s=1.2, verdict=report["verdict"], report=report,
                    design_volume_mm3=report["signature"]["volume_mm3"], mass_g=9.8, duration_s=2160.0, width_mm=60.0,
                    picture=made.noise.randbytes(PICTURE_CHARACTERS // 2).hex(), depth_mm=60.0, height_mm=8.0,
                )  # fmt: skip


def _after_files(made: Pattern, lesson: Lesson, files: list[Submission]) -> None:
    school, jobs, events, reviews = made.school, [], [], []
    for row in files:
        at = row.uploaded_at
        jobs.append(
            Job(
                kind="check-submission", lane="measure", subject=str(row.pk), school=school, state="done", attempt=1,
                worker="worker-1:4711:1.00", progress=1.0, created_at=at, started_at=at, finished_at=at, turn=row.pk,
            )
        )  # fmt: skip
        for verb, facts in (
            ("upload", {"version": row.version, "sha256": row.sha256}), ("hand_in", {"version": row.version}),
        ):  # fmt: skip
            events.append(_event(made, row.uploaded_by, verb, row, at, facts))
        if row.version == 3 or row.state == "approved":
            decision = "approved" if row.state == "approved" else "returned"
            reviews.append(
                Review(submission=row, reviewer=lesson.teacher, decision=decision, note="Mind the hub.", at=at)
            )
            events.append(_event(made, lesson.teacher, decision, row, at, {}))
    Job.objects.bulk_create(jobs)
    Event.objects.bulk_create(events)
    Review.objects.bulk_create(reviews)


def _event(made: Pattern, actor: User | None, verb: str, row: models.Model, at: datetime, facts: Any) -> Event:
    return Event(
        school=made.school, actor=actor, verb=verb, subject_kind=row._meta.model_name, subject_id=str(row.pk),
        facts=facts, at=at,
    )  # fmt: skip


def _printed(made: Pattern, lesson: Lesson, approved: list[Submission]) -> None:
    """Requests of what was approved and of the chassis; printed where the lesson is over."""
    requests = []
    for row in approved:
        made.rank += 1
        requests.append(_request(made, lesson, row.kit_part, row.team, row))
    for team in {row.team for row in approved}:
        made.rank += 1
        requests.append(_request(made, lesson, lesson.parts["chassis"], team, None))
    requests = PrintRequest.objects.bulk_create(requests)
    wanted = [(one, number) for one in requests for number in range(COPIES[one.kit_part.code])]
    for start in range(0, len(wanted), COPIES_A_PLATE):
        share = wanted[start : start + COPIES_A_PLATE]
        if lesson.over:
            _plate(made, lesson, share)
        else:
            PrintCopy.objects.bulk_create(PrintCopy(request=one, number=number) for one, number in share)


def _request(made: Pattern, lesson: Lesson, part: KitPart, team: Team, row: Submission | None) -> PrintRequest:
    return PrintRequest(
        room=made.room, assignment=lesson.assignment, kit_part=part, team=team, submission=row, rank=made.rank,
        created_at=min(lesson.at, made.now) - timedelta(days=4),
    )  # fmt: skip


def _plate(made: Pattern, lesson: Lesson, share: list[tuple[PrintRequest, int]]) -> None:
    made.plates += 1
    printer = made.printers[made.plates % 2]  # both of the square kind
    at = lesson.at - timedelta(days=2, hours=made.plates % 5)
    plate = Plate.objects.create(
        room=made.room, number=made.plates, state="cleared", material="PLA",
        colour="white", bed_width_mm=220.0, bed_depth_mm=220.0, mass_g=98.0, printer=printer, setup_at=at, starts_at=at,
        durations_s={str(each.pk): 7200.0 for each in made.printers[:2]}, ends_at=at + timedelta(hours=2),
        cleared_at=at + timedelta(hours=3), created_at=at - timedelta(days=1),
    )  # fmt: skip
    copies = PrintCopy.objects.bulk_create(
        PrintCopy(
            request=one, number=number, plate=plate, state="in_tray", place=place + 1,
            x_mm=20.0 + 62 * (place % 3), y_mm=20.0 + 50 * (place // 3), in_tray_at=at,
        )
        for place, (one, number) in enumerate(share)
    )  # fmt: skip
    run = Run.objects.create(
        plate=plate, printer=printer, outcome="finished", started_at=at, expected_end_at=at + timedelta(hours=2),
        ended_at=at + timedelta(hours=2), started_by=made.staff[Role.TECHNICIAN], estimate_s=7200.0, estimate_g=98.0,
        cleared_by=made.staff[Role.TECHNICIAN], used_g=98.0, before={"copies": [[each.pk, 1, 20.0] for each in copies]},
    )  # fmt: skip
    RunCopy.objects.bulk_create(RunCopy(run=run, copy=each, good=True) for each in copies)
    technician = made.staff[Role.TECHNICIAN]
    Event.objects.bulk_create(
        [
            _event(made, technician, "start_plate", plate, at, {"printer": printer.pk, "run": run.pk}),
            _event(made, technician, "run_finished", run, at, {"plate": plate.pk}),
        ]
    )
    for kind, lane in (("plan-room", "plan"), ("improve-plan", "consider")):
        Job.objects.create(
            kind=kind, lane=lane, subject=str(made.room.pk), school=made.school, state="done", attempt=1, progress=1.0,
            worker="worker-1:4711:1.00", created_at=at, started_at=at, finished_at=at, payload={"causes": []},
        )  # fmt: skip


def _lab(made: Pattern, lesson: Lesson) -> None:
    """Two designs at three loads, three trials each; a claim and its marks."""
    LabBoard.objects.create(assignment=lesson.assignment, revision=180)
    Reading.objects.bulk_create(
        Reading(
            assignment=lesson.assignment, team=team, entry=uuid.UUID(bytes=made.noise.randbytes(16)), design=design,
            changed=load, trial=trial, measured=2.0 + made.noise.random(), entered_at=lesson.at, measured_at=lesson.at,
            entered_by=lesson.members[team.pk][trial % 3], version=6,
        )
        for team in lesson.teams
        for design in GOOD["designs"]
        for load in (0.0, 200.0, 100.0)
        for trial in (1, 2, 3)
    )  # fmt: skip
    Argument.objects.bulk_create(
        Argument(
            assignment=lesson.assignment, team=team, claim="Ours is faster.", evidence="2.31 s against 2.50 s.",
            reasoning="Less of it turns.", revision=2, saved_at=lesson.at,
        )
        for team in lesson.teams
    )  # fmt: skip
    Mark.objects.bulk_create(
        Mark(
            assignment=lesson.assignment, team=team, row=place, row_name=row["row"], level=3, marked_at=lesson.at,
            marked_by=lesson.teacher,
        )
        for team in lesson.teams
        for place, row in enumerate(RUBRIC)
    )  # fmt: skip
