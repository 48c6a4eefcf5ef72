"""Walls between schools beyond single objects: lists show nothing of another, and no posted field takes a row of it."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import models
from django.urls import reverse

from makerlab.accounts.models import School, User
from tests.makerlab.site_addresses import MARK, Visitors, addresses, arguments, objects, other_side
from tests.world import World

pytestmark = pytest.mark.django_db
# tables of the other school of which nothing may change by a request of ours
THEIRS = ("lessons.SchoolClass", "lessons.Team", "lessons.Membership", "submissions.Submission")
OURS = ("student", "far_student", "teacher", "far_teacher", "technician", "administrator")


def school_of(row: models.Model, depth: int = 0) -> int | None:
    """The school a row belongs to, found along its first path of foreign keys; None for a row of no school."""
    if isinstance(row, School):
        return row.pk
    for field in row._meta.concrete_fields:
        if isinstance(field, models.ForeignKey) and not field.null and depth < 6:
            found = school_of(getattr(row, field.name), depth + 1)
            if found is not None:
                return found
    return None


def rows_across_the_wall() -> list[str]:
    """Every row one of whose foreign keys leads to another school than the row itself."""
    found = []
    for model in apps.get_models():
        if not model.__module__.startswith(("lessons", "submissions", "printing", "makerlab")):
            continue
        keys = [field for field in model._meta.concrete_fields if isinstance(field, models.ForeignKey)]
        for row in model._default_manager.all():
            own = school_of(row)
            for field in keys:
                value = getattr(row, field.name)
                theirs = school_of(value) if value is not None else None
                if own is not None and theirs is not None and theirs != own:
                    found.append(f"{model.__name__} {row.pk} {field.name}")
    return found


@pytest.mark.parametrize("who", OURS)
def test_no_page_of_ours_shows_a_name_of_the_other_school(world, settings, who):
    settings.DEMO = False
    known = objects(world)
    other_side(world)
    visitors, person, read, leaks = Visitors(), getattr(world, who), 0, []
    for name, pattern in addresses():
        answer = visitors.ask(person, "get", reverse(name, kwargs=arguments(name, pattern, world, known)))
        if answer.status_code == 200:
            read += 1
            if MARK.encode() in answer.body:
                leaks.append(name)
    assert read >= 3
    assert leaks == []


def test_the_other_school_would_be_seen(world, settings):
    """The marks are where lists look: the same pages show them to the other school's own people."""
    settings.DEMO = False
    known, visitors = objects(world), Visitors()
    there = other_side(world)
    shown = {
        name
        for name, pattern in addresses()
        if not pattern.pattern.converters
        and MARK.encode() in visitors.ask(there.administrator, "get", reverse(name)).body
    }
    assert known
    assert {
        "accounts:people", "lessons:class-list", "lessons:lab-list", "lessons:plan-list", "printing:bench",
        "printing:request-list", "printing:set-up", "printing:spool-list", "printing:today",
    } <= shown  # fmt: skip


def test_a_students_pages_name_nobody_of_another_class(world, settings):
    settings.DEMO = False
    known = objects(world)
    world.far_student.memberships.update(nickname="Zebedee")
    User.objects.filter(pk=world.far_student.pk).update(display_name="Zebedee")
    visitors = Visitors()
    for name, pattern in addresses():
        answer = visitors.ask(world.student, "get", reverse(name, kwargs=arguments(name, pattern, world, known)))
        assert b"Zebedee" not in answer.body, name


def their_rows(school_id: int) -> list[dict[str, object]]:
    """What stands in ``THEIRS`` of one school."""
    models_ = [apps.get_model(name) for name in THEIRS]
    rows = [row for model in models_ for row in model._default_manager.order_by("pk") if school_of(row) == school_id]
    return [{field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields} for row in rows]


def foreign_values(there: World) -> list[tuple[str, str, str, dict[str, object]]]:
    """Who posts what to which of our addresses, naming a row of the other school in a field."""
    their_printer = there.printers[0].pk
    their_class, their_team = there.school_class.pk, there.team.pk
    kind, member, teacher = there.printers[0].kind.pk, there.student.memberships.get().pk, there.teacher.pk
    dates = {"starts_at": "2030-01-10T10:00", "ends_at": "2030-01-10T11:00"}
    return [
        ("technician", "printing:spool-load", "spool", {"printer": their_printer}),
        ("technician", "printing:spool-create", "", {
            "printer": their_printer, "room": there.room.pk, "material": "PLA", "colour": "red", "grams_left": 500,
            "grams_full": 750,
        }),
        ("technician", "printing:plate-start", "plate", {
            "printer": their_printer, "right_spool": "on", "bed_clear": "on", "file_loaded": "on", "staying": "on",
        }),
        ("technician", "printing:plate-pin", "plate", {"printer": their_printer, "after": their_printer}),
        ("technician", "printing:plate-prepared", "plate", {"kind": kind}),
        ("technician", "printing:prepared-use", "prepared", {"kind": kind}),
        ("administrator", "printing:printer-edit", "printer", {"name": "Wren", "kind": kind, "room": there.room.pk}),
        ("administrator", "printing:printer-new", "room", {"name": "New", "kind": kind, "room": there.room.pk}),
        ("administrator", "lessons:class-edit", "class", {
            "name": "7B", "teachers": teacher, "school": there.school.pk, "school_year": "2026-27",
        }),
        ("administrator", "lessons:class-new", "", {"name": "9Z", "teachers": teacher, "school": there.school.pk}),
        ("teacher", "lessons:student-move", "student", {"team": their_team, "into": their_class}),
        ("teacher", "lessons:class-teams", "class", {f"team-{member}": their_team, "seen": ""}),
        ("teacher", "lessons:class-cards", "class", {"student": member, "step": "make"}),
        ("teacher", "printing:plan-give", "plan", {
            "classes": their_class, f"class-{their_class}": "on", "meeting": there.meeting.pk, "step": "give", **dates,
        }),
        ("teacher", "printing:room-what-if", "room", {"out": their_printer, "like": their_printer, "step": "try"}),
        ("teacher", "submissions:review-approve-passing", "assignment", {"seen": there.assignment.pk}),
        ("teacher", "lessons:lab-enter", "lab", {"team": their_team}),
        ("student", "lessons:lab-enter", "lab", {"team": their_team}),
        ("student", "lessons:lab-argument", "lab", {"team": their_team, "claim": "ours rolls", "revision": ""}),
        ("technician", "printing:plate-save", "plate", {"on": there.room.spools.first().pk, "version": ""}),
    ]  # fmt: skip


def test_a_row_of_another_school_in_a_field_is_refused(world, settings, signed_in):
    settings.DEMO = False
    known = objects(world)
    there = other_side(world)
    assert rows_across_the_wall() == []
    before = their_rows(there.school.pk)
    for who, name, noun, values in foreign_values(there):
        pattern = dict(addresses())[name]
        aimed = dict(known)
        key = name.partition(":")[2].partition("-")[0]
        if noun:
            aimed[key] = known[noun]
        path = reverse(name, kwargs=arguments(name, pattern, world, aimed))
        answer = signed_in(getattr(world, who)).post(path, values)
        assert answer.status_code in {302, 404, 409, 422, 200}, (name, answer.status_code)
        assert rows_across_the_wall() == [], name
    assert their_rows(there.school.pk) == before


@pytest.mark.parametrize("who", ["student", "teacher", "technician"])
def test_nobody_raises_their_own_role_by_a_field(world, signed_in, who):
    """Fields no form shows are not taken: the ways one writes about oneself or one's class."""
    person = getattr(world, who)
    client = signed_in(person)
    extra = {"role": "administrator", "school": world.other_school.pk, "is_active": "on", "is_superuser": "on"}
    for name in ("accounts:own-password", "accounts:people", "home"):
        client.post(reverse(name), extra)
    client.post(reverse("lessons:class-edit", args=[world.school_class.pk]), {"name": "7B", **extra})
    now = User.objects.get(pk=person.pk)
    assert (now.role, now.school_id) == (person.role, world.school.pk)
