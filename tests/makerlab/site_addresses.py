"""Every address of the site, an object of ours for each, and what a person is answered there."""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from dataclasses import replace
from datetime import time, timedelta
from http.cookies import SimpleCookie
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone

from lessons.models import Assignment, Coasting, DayKind, LessonPackage, MeasuredFile, Meeting, SchoolDay, Term
from lessons.showing import SUFFIX, ShownFiles, keep
from makerlab.accounts.models import Role, School, User
from makerlab.api.actions import make_token
from makerlab.api.webhooks import add_webhook
from printing.models import ExtraHours, Plate, PreparedFile, PrinterKind, WhatIf
from tests.lessons.lab.test_experiment import GOOD
from tests.printing.helpers import make_plate, ordered, started
from tests.submissions.make import make_submission
from tests.world import PASSWORD, World, make_class, make_plan, make_room, make_student

MARK = "Quillmere"  # stands in every name of the other school
MISSING = 987_654_321  # no object has this key


def addresses() -> Iterator[tuple[str, URLPattern]]:
    """Every named address of the site with its pattern."""

    def walk(resolver: URLResolver, prefix: str) -> Iterator[tuple[str, URLPattern]]:
        for entry in resolver.url_patterns:
            if isinstance(entry, URLResolver):
                yield from walk(entry, f"{prefix}{entry.namespace}:" if entry.namespace else prefix)
            else:
                yield f"{prefix}{entry.name}", entry

    yield from walk(get_resolver(), "")


def give_something_to_show(item: MeasuredFile) -> None:
    """A mesh and pictures beside the item's file, as a check leaves them; what they hold does not matter here."""
    if not item.file:
        item.file.save("", ContentFile(b"solid"))
    item.shown = {"key": "0" * 32, "faces": 1, "faces_measured": 1, "flags": {}, "bytes": 1, "from_below": False}
    keep(item, ShownFiles({kind: gzip.compress(b"") for kind in SUFFIX}, item.shown))
    item.save()


def objects(world: World) -> dict[str, Any]:
    """By the noun an address begins with: an object of our team, our class, our room."""
    world.plan.content = {"experiment": GOOD}
    world.plan.save(update_fields=["content"])
    world.plan.versions.create(number=1, fields={"title": world.plan.title, "content": {}})
    request = ordered(world)
    waiting = make_submission(world, team=world.team, state="handed_in", version=2)
    run = started(world, make_plate(world, request, number=1))
    plate = Plate.objects.create(
        room=world.room, number=2, material="PLA", colour="white", bed_width_mm=220, bed_depth_mm=220, mass_g=1
    )
    prepared = PreparedFile(plate=plate, kind=world.printers[0].kind, file_name="P2.gcode", dialect="printer-ms")
    prepared.file.save("", ContentFile(b"G1 X1 F100"))
    for seen in (request.submission, world.wheel):
        give_something_to_show(seen)
    administrator = world.administrator
    token, _secret = make_token(world.teacher, "a script", ["lab:read"], 30)
    return {
        "prepared": prepared,
        "submission": request.submission, "review": waiting, "request": request, "run": run, "plate": plate,
        "printer": world.printers[0], "spool": world.printers[0].spool, "plan": world.plan, "kit": world.wheel,
        "experiment": world.plan,
        "package": LessonPackage.objects.create(uploaded_by=world.teacher, file_name="a.zip", sha256="0" * 64),
        "coasting": Coasting.objects.create(
            assignment=world.assignment, team=world.team, design="own wheel", length_m=2, time_s=6
        ),
        "class": world.school_class, "team": world.team, "meeting": world.meeting, "assignment": world.assignment,
        "hours": ExtraHours.objects.create(
            room=world.room, date=timezone.localdate(), starts_at=time(16), ends_at=time(18)
        ),
        "day": DayKind.objects.get(school=world.school),
        "term": Term.objects.create(
            school=world.school, name="Year", first=timezone.localdate() - timedelta(days=180),
            last=timezone.localdate() + timedelta(days=180),
        ),
        "special": SchoolDay.objects.create(school=world.school, date=timezone.localdate()),
        "what": WhatIf.objects.create(room=world.room, made_by=world.teacher, changes={"out": [world.printers[1].pk]}),
        "school": world.school, "room": world.room, "student": world.student.memberships.get(), "lab": world.assignment,
        "token": token,
        "webhook": add_webhook(administrator, "https://hooks.example/told", ["run.ended"]),
        "person": world.technician, "kind": world.printers[0].kind,
    }  # fmt: skip


def other_side(world: World) -> World:
    """The other school filled like ours: lesson, class, room, printers, a started plate. ``MARK`` in all names."""
    school: School = world.other_school
    teacher, technician = world.other_teacher, world.other_technician
    for person in (teacher, technician):
        User.objects.filter(pk=person.pk).update(display_name=f"{MARK} {person.role}")
    administrator = User.objects.create_staff(school, f"{MARK}-head", Role.ADMINISTRATOR, PASSWORD, f"{MARK} head")
    ours = make_class(school, f"{MARK} 6C", teacher)
    ours.teams.update(name=f"{MARK} crew")
    team, second = ours.teams.all()
    plan, wheel, chassis = make_plan(school)
    plan.title, plan.summary = f"{MARK} cart", f"{MARK} rolls"
    plan.save()
    plan.kit_parts.update(name=f"{MARK} part")
    start = world.meeting.starts_at
    meeting = Meeting.objects.create(
        school_class=ours, starts_at=start, ends_at=world.meeting.ends_at, purpose=f"{MARK} lab"
    )
    assignment = Assignment.objects.create(
        plan=plan, school_class=ours, meeting=meeting, upload_by=world.assignment.upload_by, created_by=teacher
    )
    PrinterKind.objects.filter(school=school).delete()
    room, printers = make_room(school)
    type(room).objects.filter(pk=room.pk).update(name=f"{MARK} room")
    for printer in printers:
        type(printer).objects.filter(pk=printer.pk).update(name=f"{MARK} {printer.name}")
    room.spools.update(colour=f"{MARK} white", maker=MARK)
    room.printers.first().kind.__class__.objects.filter(school=school).update(name=f"{MARK} bed")
    DayKind.objects.filter(school=school).update(name=f"{MARK} day")
    student = make_student(ours, team, f"{MARK} Pip")
    there = replace(
        world, school=school, teacher=teacher, technician=technician, administrator=administrator, student=student,
        school_class=ours, team=team, second_team=second, plan=plan, wheel=wheel, chassis=chassis, meeting=meeting,
        assignment=assignment, room=room, printers=list(room.printers.all()),
    )  # fmt: skip
    request = ordered(there, file_name=f"{MARK} wheel.stl")
    make_submission(there, team=second, state="handed_in", file_name=f"{MARK} other wheel.stl")
    started(there, make_plate(there, request, number=1, colour=f"{MARK} white", printer=there.printers[0]))
    return there


# addresses whose ``pk`` is of what they stand in, not of what they make
IN_ANOTHER = {"printing:printer-new": "room"}


def arguments(name: str, pattern: URLPattern, world: World, known: dict[str, Any]) -> dict[str, Any]:
    """Values for the address's converters. Fails for a noun this table does not know yet."""
    fixed: dict[str, Any] = {"assignment_id": world.assignment.pk, "kit_part_id": world.wheel.pk}
    fixed |= {"role": "teacher", "kind": "stl", "number": 1, "token": "0" * 43, "rest": "kites"}
    values = {}
    for converter in pattern.pattern.converters:
        noun = IN_ANOTHER.get(name) or name.partition(":")[2].partition("-")[0]
        if converter in fixed:
            values[converter] = fixed[converter]
        elif converter == "pk" and noun in known:
            values[converter] = known[noun].pk
        else:
            pytest.fail(f"{name}: say in this test which object {converter} of {noun!r} is")
    return values


class Visitors:
    """People who ask the site, each signed in once; whatever a request does is undone."""

    def __init__(self) -> None:
        self.cookies: dict[int, str] = {}

    def client(self, person: User | None) -> Client:
        client = Client(raise_request_exception=False)
        if person is None:
            return client
        if person.pk not in self.cookies:
            client.force_login(person)
            self.cookies[person.pk] = client.cookies.output(header="")
        client.cookies = SimpleCookie(self.cookies[person.pk].strip())
        return client

    def ask(self, person: User | None, method: str, path: str, data: dict[str, Any] | None = None) -> HttpResponse:
        """One request in a session of its own. The body of a download is read to its end: it holds its file open."""
        client = self.client(person)
        with transaction.atomic():
            response = getattr(client, method)(path, data) if data else getattr(client, method)(path)
            response.body = b"".join(response)
            transaction.set_rollback(True)
        return response
