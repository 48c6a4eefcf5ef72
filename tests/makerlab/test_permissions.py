"""Who gets what answer from which address: every URL x person x method, against the table in docs/permissions.md.

A new address without a line in the table fails here. This writes the table anew; read the difference before committing:
``MAKERLAB_WRITE_PERMISSIONS=1 pytest tests/makerlab/test_permissions.py``. Beside the table, what must hold whatever it
says: nobody without a sign-in gets in, and nobody of another school finds an object of ours.
"""

from __future__ import annotations

import gzip
import os
from collections.abc import Iterator
from datetime import time
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from lessons.models import Coasting, DayKind, MeasuredFile, SchoolDay
from lessons.showing import SUFFIX, ShownFiles, keep
from makerlab.accounts.models import User
from printing.models import ExtraHours, Plate, PreparedFile, WhatIf
from tests.conftest import ROOT
from tests.lessons.lab.test_experiment import GOOD
from tests.printing.helpers import make_plate, ordered, started
from tests.submissions.make import make_submission
from tests.world import World

pytestmark = pytest.mark.django_db
Answers = dict[tuple[str, str], dict[str, int]]
PAGE = ROOT / "docs" / "permissions.md"
WRITE = os.environ.get("MAKERLAB_WRITE_PERMISSIONS") == "1"
PEOPLE = (
    "anonymous", "student", "far_student", "teacher", "far_teacher", "technician", "administrator", "other_student",
    "other_teacher", "other_technician",
)  # fmt: skip
OPEN = {"accounts:sign-in", "accounts:sign-in-demo", "accounts:sign-out", "lessons:student-sign-in"}
OPEN |= {"printing:calendar-feed"}  # whoever knows the token; an unknown one is a 404
OTHERS = ("other_student", "other_teacher", "other_technician")


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
    waiting = make_submission(world, team=world.second_team, state="handed_in")
    run = started(world, make_plate(world, request, number=1))
    plate = Plate.objects.create(
        room=world.room, number=2, material="PLA", colour="white", bed_width_mm=220, bed_depth_mm=220, mass_g=1
    )
    prepared = PreparedFile(plate=plate, kind=world.printers[0].kind, file_name="P2.gcode", dialect="printer-ms")
    prepared.file.save("", ContentFile(b"G1 X1 F100"))
    for seen in (request.submission, world.wheel):
        give_something_to_show(seen)
    return {
        "prepared": prepared,
        "submission": request.submission, "review": waiting, "request": request, "run": run, "plate": plate,
        "printer": world.printers[0], "spool": world.printers[0].spool, "plan": world.plan, "kit": world.wheel,
        "experiment": world.plan,
        "coasting": Coasting.objects.create(
            assignment=world.assignment, team=world.team, design="own wheel", length_m=2, time_s=6
        ),
        "class": world.school_class, "team": world.team, "meeting": world.meeting, "assignment": world.assignment,
        "hours": ExtraHours.objects.create(
            room=world.room, date=timezone.localdate(), starts_at=time(16), ends_at=time(18)
        ),
        "day": DayKind.objects.get(school=world.school),
        "special": SchoolDay.objects.create(school=world.school, date=timezone.localdate()),
        "what": WhatIf.objects.create(room=world.room, made_by=world.teacher, changes={"out": [world.printers[1].pk]}),
        "room": world.room, "student": world.student.membership, "lab": world.assignment,
        "person": world.technician, "kind": world.printers[0].kind,
    }  # fmt: skip


def arguments(name: str, pattern: URLPattern, world: World, known: dict[str, Any]) -> dict[str, Any]:
    """Values for the address's converters. Fails for a noun this table does not know yet."""
    fixed: dict[str, Any] = {"assignment_id": world.assignment.pk, "kit_part_id": world.wheel.pk}
    fixed |= {"role": "teacher", "kind": "stl", "number": 1, "token": "0" * 43}
    values = {}
    for converter in pattern.pattern.converters:
        noun = name.partition(":")[2].partition("-")[0]
        if converter in fixed:
            values[converter] = fixed[converter]
        elif converter == "pk" and noun in known:
            values[converter] = known[noun].pk
        else:
            pytest.fail(f"{name}: say in this test which object {converter} of {noun!r} is")
    return values


def answer(person: User | None, method: str, path: str) -> int:
    """The status of one request in a session of its own; whatever it did is undone."""
    with transaction.atomic():
        client = Client(raise_request_exception=False)
        if person is not None:
            client.force_login(person)
        response = getattr(client, method)(path)
        b"".join(response)  # a download holds its file open until its end
        transaction.set_rollback(True)
    return int(response.status_code)


@pytest.fixture(scope="module")
def once() -> Answers:
    """The table is worked out by the first test that wants it."""
    return {}


@pytest.fixture
def found(request, once, settings) -> Answers:
    if not once:
        settings.DEMO = False
        once.update(table_of(request.getfixturevalue("world")))
    return once


def table_of(world: World) -> Answers:
    known = objects(world)
    people = world.people() | {"anonymous": None}
    table = {}
    for name, pattern in addresses():
        path = reverse(name, kwargs=arguments(name, pattern, world, known))
        for method in ("get", "post"):
            table[name, method] = {who: answer(people[who], method, path) for who in PEOPLE}
    return table


def page(table: Answers) -> str:
    lines = [
        "# Who gets what",
        "",
        "Generated by tests/makerlab/test_permissions.py; do not edit. Status of a request without a body to an object",
        "of our team, class or room. 200 a page or file, 204 nothing new, 302 sent on, 403 not for this person,",
        "404 not found for this person, 405 wrong method, 409 or 422 understood and refused. `far_` is another class",
        "of the school, `other_` another school.",
        "",
        "| address | method | " + " | ".join(PEOPLE) + " |",
        "|---|---|" + "---|" * len(PEOPLE),
    ]  # fmt: skip
    for (name, method), statuses in sorted(table.items()):
        lines.append(f"| {name} | {method.upper()} | " + " | ".join(str(statuses[who]) for who in PEOPLE) + " |")
    return "\n".join(lines) + "\n"


def test_the_table_is_as_written(found):
    text = page(found)
    if WRITE:
        PAGE.write_text(text, "utf-8")
    written = PAGE.read_text("utf-8") if PAGE.exists() else ""
    assert written == text, "the answers changed; see this file's docstring"


def test_nothing_breaks(found):
    assert {key: row for key, row in found.items() if max(row.values()) >= 500} == {}


def test_without_a_sign_in_every_page_sends_to_it(found):
    inside = {key: row["anonymous"] for key, row in found.items() if key[0] not in OPEN}
    assert {key: status for key, status in inside.items() if status != 302} == {}


def test_nobody_of_another_school_finds_our_objects(found):
    with_object = {name for name, pattern in addresses() if "pk" in pattern.pattern.converters}
    leaks = {
        (name, method, who): row[who]
        for (name, method), row in found.items()
        for who in OTHERS
        if name in with_object and row[who] not in {403, 404, 405}
    }
    assert leaks == {}


def test_a_student_of_another_class_finds_nothing_of_a_team(found):
    team_only = ("submissions:submission-", "submissions:review-", "printing:")
    leaks = {
        key: row["far_student"]
        for key, row in found.items()
        if key[0].startswith(team_only) and row["far_student"] == 200
    }
    assert leaks == {}
