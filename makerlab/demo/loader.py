"""Fills an empty database with the invented school and has its files checked for real."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.utils import timezone

from lessons.models import (
    Assignment,
    DayKind,
    KitPart,
    LessonPlan,
    Meeting,
    Membership,
    PartGauge,
    Period,
    SchoolClass,
    SchoolDay,
    Team,
    Term,
)
from lessons.signin import set_pin
from makerlab.accounts.models import Role, School, User
from makerlab.demo import fixtures
from makerlab.demo.history import CLUB, History
from makerlab.demo.past_wheels import write_wheels
from makerlab.work.actions import enqueue, run_waiting
from meshcheck.types import Verdict
from printing.models import EmptySpool, Printer, PrinterKind, Room, RoomHours, Spool
from submissions import actions as submitting
from submissions.models import Submission

Say = Callable[[str], None]
PASSWORD = "graph paper and glue"
PIN = "cart,clock,flag,ruler"
APPROVED_TEAMS = {1, 2, 3, 5, 21}  # of classes 7B and 7D; the others are left for whoever tries the demo


def load(say: Say) -> None:
    """Write the invented school, then check and hand in its files. The database must hold no school."""
    with transaction.atomic():
        school = Builder().build()
        _queue_checks(school)
    say(f"{school} is set up: {school.classes.count()} classes, {User.objects.filter(school=school).count()} people.")
    checked = run_waiting()
    say(f"{checked} kit parts are measured.")
    uploads = _upload_files()
    write_wheels(school, CLUB)
    say(f"{len(uploads)} student files are uploaded; checking them ...")
    run_waiting()
    _hand_in(uploads)
    planned = run_waiting()
    say("The room is planned." if planned else "Nothing to plan yet.")


class Builder:
    """Writes the school's rows in order; remembers what later rows point to."""

    def __init__(self) -> None:
        self.facts = fixtures.school()
        self.zone = ZoneInfo(self.facts["school"]["time_zone"])
        self.today = timezone.now().astimezone(self.zone).date()
        self.people: dict[str, User] = {}
        self.day_kinds: dict[str, DayKind] = {}
        self.plans: dict[str, LessonPlan] = {}

    def build(self) -> School:
        self.school = School.objects.create(**self.facts["school"])
        for person in self.facts["people"]:
            self.people[person["username"]] = User.objects.create_staff(self.school, password=PASSWORD, **person)
        self._days()
        self._room()
        for plan in fixtures.lesson_plans():
            self.plans[plan["code"]] = self._plan(plan)
        for school_class in self.facts["classes"]:
            self._class(school_class)
        self._history()
        return self.school

    def _history(self) -> None:
        """Runs of a club that is over: the printers have something to learn from."""
        teacher, technician = (
            next(person for person in self.people.values() if person.role == role)
            for role in (Role.TEACHER, Role.TECHNICIAN)
        )
        plan = next(iter(self.plans.values()))
        History(Room.objects.get(school=self.school), plan, teacher, technician).write(self._weekday, self._moment)

    def _days(self) -> None:
        for values in self.facts["day_kinds"]:
            kind = DayKind.objects.create(school=self.school, name=values["name"], weekdays=values["weekdays"])
            self.day_kinds[kind.name] = kind
            Period.objects.bulk_create(Period(day_kind=kind, **period) for period in values["periods"])
        for term in self.facts["terms"]:
            first, last = (self.today + timedelta(days=term[f"{end}_days_ahead"]) for end in ("first", "last"))
            Term.objects.create(school=self.school, name=term["name"], first=first, last=last)
        for day in self.facts["special_days"]:
            SchoolDay.objects.create(
                school=self.school,
                date=self._weekday(day["weekdays_ahead"]),
                day_kind=self.day_kinds.get(day["day_kind"]) if day["day_kind"] else None,
                name=day["name"],
            )

    def _room(self) -> None:
        values = self.facts["room"]
        own = ("name", "unattended_allowed", "start_min", "swap_min", "clear_min", "gap_mm")
        room = Room.objects.create(school=self.school, **{name: values[name] for name in own})
        for hours in values["hours"]:
            RoomHours.objects.create(room=room, **{**hours, "day_kind": self.day_kinds[hours["day_kind"]]})
        kinds = {k["name"]: PrinterKind.objects.create(school=self.school, **k) for k in values["printer_kinds"]}
        printers = {}
        for printer in values["printers"]:
            fields = {**printer, "kind": kinds[printer["kind"]], "icon": f"b-{printer['name'].lower()}"}
            printers[printer["name"]] = Printer.objects.create(room=room, **fields)
        spool_kinds = {kind["name"]: kind for kind in values["spool_kinds"]}
        for spool in values["spools"]:
            kind = spool_kinds[spool["kind"]]
            fields = {name: spool[name] for name in ("material", "colour", "grams_left", "price_per_kg")}
            Spool.objects.create(
                room=room, printer=printers.get(spool["printer"]), grams_full=kind["grams_full"],
                tare_g=kind["tare_g"], maker=kind["name"], **fields,
            )  # fmt: skip
        for kind in spool_kinds.values():
            EmptySpool.objects.create(
                room=room, maker=kind["name"], grams_full=kind["grams_full"], tare_g=kind["tare_g"],
                weighed_at=self._moment(self._weekday(-12), time(15, 40)),
            )  # fmt: skip

    def _plan(self, values: dict[str, Any]) -> LessonPlan:
        own = ("title", "summary", "grade_band", "meetings_count", "group_size", "content")
        plan = LessonPlan.objects.create(school=self.school, **{name: values[name] for name in own})
        for part in values["kit"]:
            data = (fixtures.FOLDER / part["file"]).read_bytes()
            fields = {name: value for name, value in part.items() if name not in ("file", "gauge")}
            row = KitPart(
                plan=plan, file_name=Path(part["file"]).name, file_bytes=len(data),
                sha256=hashlib.sha256(data).hexdigest(), **fields,
            )  # fmt: skip
            row.full_clean(exclude=["file"])
            row.file.save("", ContentFile(data))
            if part["gauge"]:
                PartGauge.objects.create(kit_part=row, **part["gauge"])
        return plan

    def _class(self, values: dict[str, Any]) -> None:
        school_class = SchoolClass.objects.create(school=self.school, name=values["name"], code=values["code"])
        school_class.teachers.set(self.people[name] for name in values["teachers"])
        for fields in values["teams"]:
            own = {name: fields[name] for name in ("number", "name", "tray")}
            team = Team.objects.create(school_class=school_class, **own)
            for nickname in fields["students"]:
                student = User.objects.create_student(self.school, nickname)
                Membership.objects.create(school_class=school_class, user=student, team=team, nickname=nickname)
                set_pin(student, PIN)
        meetings = {fields["key"]: self._meeting(school_class, fields) for fields in values["meetings"]}
        for fields in values["assignments"]:
            own = {name: fields[name] for name in ("mass_max_g", "duration_max_s", "files_max", "priority")}
            until = fields["upload_by"]
            Assignment.objects.create(
                plan=self.plans[fields["plan"]], school_class=school_class, meeting=meetings[fields["meeting"]],
                upload_by=self._moment(self._weekday(until["weekdays_ahead"]), time.fromisoformat(until["time"])),
                created_by=school_class.teachers.first(), **own,
            )  # fmt: skip

    def _meeting(self, school_class: SchoolClass, fields: dict[str, Any]) -> Meeting:
        day = self._weekday(fields["weekdays_ahead"])
        special = SchoolDay.objects.filter(school=self.school, date=day).select_related("day_kind").first()
        kind = (special and special.day_kind) or self.day_kinds["regular"]
        period = kind.periods.get(name=fields["period"])
        return Meeting.objects.create(
            school_class=school_class,
            starts_at=self._moment(day, period.starts_at),
            ends_at=self._moment(day, period.ends_at),
            period=fields["period"],
            purpose=fields["purpose"],
        )

    def _moment(self, day: date, at: time) -> datetime:
        return datetime.combine(day, at, tzinfo=self.zone)

    def _weekday(self, ahead: int) -> date:
        """Counted Monday to Friday from today; on a weekend, 0 is the Monday after."""
        day = self.today
        while day.weekday() > 4:
            day += timedelta(days=1)
        step = timedelta(days=1 if ahead > 0 else -1)
        for _ in range(abs(ahead)):
            day += step
            while day.weekday() > 4:
                day += step
        return day


def _queue_checks(school: School) -> None:
    for part in KitPart.objects.filter(plan__school=school):
        enqueue("check-kit-part", part.pk, school.pk)


def _upload_files() -> list[Submission]:
    """Every student file, by a student of its team, in order of version."""
    uploads = []
    entries = [*fixtures.student_files(), *fixtures.lesson_files()]
    for entry in sorted(entries, key=lambda entry: (entry["team"], entry["version"])):
        team = Team.objects.get(number=entry["team"])
        member = team.memberships.select_related("user").order_by("pk").first()
        assignment = team.school_class.assignments.get()
        if member is None:
            continue
        data = fixtures.student_path(entry).read_bytes()
        part = assignment.plan.kit_parts.get(code=entry["part"])
        upload = SimpleUploadedFile(entry["file"], data)
        uploads.append(submitting.upload_part(member.user, assignment, part, upload))
    return uploads


def _hand_in(uploads: list[Submission]) -> None:
    """Hand in each team's newest version when it can print, and approve a few, so that the room has work."""
    newest = {upload.team_id: upload for upload in uploads}
    for upload in newest.values():
        upload.refresh_from_db()
        if upload.verdict not in {Verdict.OK, Verdict.ADVICE} or upload.uploaded_by is None:
            continue
        submitting.hand_in(upload.uploaded_by, upload)
        if upload.team.number in APPROVED_TEAMS:
            teacher = upload.team.school_class.teachers.filter(role=Role.TEACHER).first()
            if teacher is not None:
                submitting.approve(teacher, upload)
