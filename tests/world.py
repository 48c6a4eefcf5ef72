"""One small shared world for tests: our school with two classes, and another school that must never be seen.

Invented data, for tests only. Build it with the ``world`` fixture; meshes come from lessons.parts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time, timedelta
from typing import Any

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
    Team,
)
from lessons.signin import set_pin
from makerlab.accounts.models import Role, School, User
from printing.models import Printer, PrinterKind, Room, RoomHours, Spool

PASSWORD = "three wooden wheels"
PIN = "cart,clock,flag,ruler"


@dataclass
class World:
    """What the tests name. ``other_*`` belongs to another school, ``far_*`` to another class of our own."""

    school: School
    teacher: User
    far_teacher: User
    technician: User
    administrator: User
    student: User
    far_student: User
    school_class: SchoolClass
    far_class: SchoolClass
    team: Team
    far_team: Team
    second_team: Team
    plan: LessonPlan
    wheel: KitPart
    chassis: KitPart
    meeting: Meeting
    assignment: Assignment
    room: Room
    printers: list[Printer]
    other_school: School
    other_teacher: User
    other_technician: User
    other_student: User

    def people(self) -> dict[str, User]:
        """Everybody, by the name the role tables use."""
        names = ("student", "far_student", "teacher", "far_teacher", "technician", "administrator")
        others = ("other_student", "other_teacher", "other_technician")
        return {name: getattr(self, name) for name in names + others}


def make_student(school_class: SchoolClass, team: Team | None, nickname: str) -> User:
    user = User.objects.create_student(school_class.school, nickname)
    Membership.objects.create(school_class=school_class, user=user, team=team, nickname=nickname)
    set_pin(user, PIN)
    user.refresh_from_db()
    return user


def make_class(school: School, name: str, teacher: User, teams: int = 2) -> SchoolClass:
    school_class = SchoolClass.objects.create(school=school, name=name, code=f"{school.pk}-{name}"[:12])
    school_class.teachers.add(teacher)
    for number in range(1, teams + 1):
        Team.objects.create(school_class=school_class, number=number, name=f"Crew {number}", tray=number)
    return school_class


def make_hours(school: School, room: Room) -> DayKind:
    """Every day of the week is a school day, staffed 08:00 to 15:30 with half an hour of lunch."""
    kind = DayKind.objects.create(school=school, name="regular", weekdays=[0, 1, 2, 3, 4, 5, 6])
    for name, start, end in (
        ("1", time(8), time(12)),
        ("lunch", time(12), time(12, 30)),
        ("2", time(12, 30), time(15, 30)),
    ):
        Period.objects.create(day_kind=kind, name=name, starts_at=start, ends_at=end)
    for start, end in ((time(8), time(12)), (time(12, 30), time(15, 30))):
        RoomHours.objects.create(room=room, day_kind=kind, starts_at=start, ends_at=end, staff=1)
    return kind


def make_room(school: School) -> tuple[Room, list[Printer]]:
    room = Room.objects.create(school=school, name="room 12")
    square = PrinterKind.objects.create(school=school, name="square", width_mm=220, depth_mm=220, height_mm=200)
    disc = PrinterKind.objects.create(
        school=school, name="disc", bed=PrinterKind.Bed.ROUND, width_mm=200, depth_mm=200, height_mm=200
    )
    printers = []
    for place, (name, kind) in enumerate((("Wren", square), ("Heron", square), ("Swift", disc))):
        printer = Printer.objects.create(room=room, kind=kind, name=name, icon=f"b-{name.lower()}", position=place)
        Spool.objects.create(room=room, printer=printer, colour="white", grams_left=600, tare_g=220)
        printers.append(printer)
    make_hours(school, room)
    return room, printers


def make_kit_part(plan: LessonPlan, code: str, **values: Any) -> KitPart:
    """A kit part with a stored figure instead of a check: 10 g and 30 min, 60 x 60 x 8 mm. Tests that need
    the real check upload a real file."""
    report = {"volume_mm3": 8000.0, "findings": [], "footprint": {"kind": "circle", "radius_mm": 30.0}}
    defaults = {
        "name": code.replace("-", " "),
        "file_name": f"{code}.stl",
        "sha256": "0" * 64,
        "check_state": "checked",
        "verdict": "ok",
        "report": report,
        "mass_g": 10.0,
        "duration_s": 1800.0,
        "width_mm": 60.0,
        "depth_mm": 60.0,
        "height_mm": 8.0,
    }
    return KitPart.objects.create(plan=plan, code=code, **{**defaults, **values})


def make_plan(school: School) -> tuple[LessonPlan, KitPart, KitPart]:
    """A lesson with a wheel that is redesigned, four for a team, and a chassis that is not."""
    plan = LessonPlan.objects.create(school=school, title="Coasting cart", summary="Roll.", grade_band="6-8")
    wheel = make_kit_part(plan, "wheel", copies_per_team=4, redesignable=True, task="Make four wheels.")
    PartGauge.objects.create(kit_part=wheel, hole_diameter_mm=3.2, hole_depth_mm=8.0, through=True)
    footprint = {"kind": "rectangle", "width_mm": 150.0, "depth_mm": 70.0}
    report = {"volume_mm3": 21000.0, "findings": [], "footprint": footprint}
    chassis = make_kit_part(plan, "chassis", width_mm=150.0, depth_mm=70.0, position=1, report=report)
    return plan, wheel, chassis


def make_world() -> World:
    school = School.objects.create(name="Alderwick School", time_zone="America/Chicago")
    staff = {
        name: User.objects.create_staff(school, name, role, PASSWORD, name.replace("_", " "))
        for name, role in (
            ("teacher", Role.TEACHER),
            ("far_teacher", Role.TEACHER),
            ("technician", Role.TECHNICIAN),
            ("administrator", Role.ADMINISTRATOR),
        )
    }
    ours, far = make_class(school, "7B", staff["teacher"]), make_class(school, "8A", staff["far_teacher"])
    team, second_team = ours.teams.all()
    plan, wheel, chassis = make_plan(school)
    start = timezone.now().replace(second=0, microsecond=0) + timedelta(days=3)
    meeting = Meeting.objects.create(
        school_class=ours, starts_at=start, ends_at=start + timedelta(minutes=50), period="3"
    )
    assignment = Assignment.objects.create(
        plan=plan,
        school_class=ours,
        meeting=meeting,
        upload_by=timezone.now() + timedelta(days=2),
        created_by=staff["teacher"],
    )
    room, printers = make_room(school)
    other = School.objects.create(name="Quillmere School")
    other_teacher = User.objects.create_staff(other, "other_teacher", Role.TEACHER, PASSWORD, "other teacher")
    other_technician = User.objects.create_staff(other, "other_technician", Role.TECHNICIAN, PASSWORD, "other tech")
    other_class = make_class(other, "7B", other_teacher)
    return World(
        school=school,
        **staff,
        student=make_student(ours, team, "Pip"),
        far_student=make_student(far, far.teams.first(), "Ash"),
        school_class=ours,
        far_class=far,
        team=team,
        far_team=far.teams.get(number=1),
        second_team=second_team,
        plan=plan,
        wheel=wheel,
        chassis=chassis,
        meeting=meeting,
        assignment=assignment,
        room=room,
        printers=printers,
        other_school=other,
        other_teacher=other_teacher,
        other_technician=other_technician,
        other_student=make_student(other_class, other_class.teams.first(), "Pip"),
    )
