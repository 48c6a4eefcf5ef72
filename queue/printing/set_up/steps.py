"""How far a school is set up: what there is, what is missing, and where each thing is said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import F, Func, OuterRef, QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import CheckState, DayKind, KitPart, LessonPlan, Period, SchoolClass
from makerlab.accounts.models import Role, School, User
from printing.models import Printer, Room, RoomHours, Spool


@dataclass(frozen=True, slots=True)
class Step:
    """One thing a school needs before its first lesson; ``have`` says what there is."""

    title: str
    why: str
    have: str
    done: bool
    link: str
    verb: str


@dataclass(frozen=True, slots=True)
class Had:
    """How many of each thing the school has."""

    kinds: int
    periods: int
    spans: int
    printers: int
    spools: int
    loaded: int
    teachers: int
    technicians: int
    plans: int
    parts: int
    measured: int
    classes: int


def had(school_id: int) -> Had:
    """All of it in one query."""
    staff = User.objects.filter(school=OuterRef("pk"), is_active=True)
    spools = Spool.objects.filter(room__school=OuterRef("pk"))
    parts = KitPart.objects.filter(plan__school=OuterRef("pk"))
    rows: dict[str, QuerySet[Any]] = {
        "kinds": DayKind.objects.filter(school=OuterRef("pk")),
        "periods": Period.objects.filter(day_kind__school=OuterRef("pk")),
        "spans": RoomHours.objects.filter(room__school=OuterRef("pk")),
        "printers": Printer.objects.filter(room__school=OuterRef("pk")),
        "spools": spools,
        "loaded": spools.filter(printer__isnull=False),
        "teachers": staff.filter(role=Role.TEACHER),
        "technicians": staff.filter(role=Role.TECHNICIAN),
        "plans": LessonPlan.objects.filter(school=OuterRef("pk"), archived_at__isnull=True),
        "parts": parts,
        "measured": parts.filter(check_state=CheckState.CHECKED),
        "classes": SchoolClass.objects.filter(school=OuterRef("pk"), archived_at__isnull=True),
    }
    count = Func(F("pk"), function="COUNT")
    counts = [Subquery(found.order_by().annotate(n=count).values("n")) for found in rows.values()]
    return Had(**dict(zip(rows, School.objects.filter(pk=school_id).values_list(*counts).get(), strict=True)))


def steps_of(user: User, room: Room | None) -> list[Step]:
    """In the order in which one thing needs another. ``room``: the school's first. One query."""
    have = had(user.school_id)
    return [_bells(have), _room(have, room), _printers(have, room), _spools(have), _staff(have), *_lesson(have)]


def _bells(have: Had) -> Step:
    days = _kinds(have.kinds)
    rows = ngettext("%(n)d period", "%(n)d periods", have.periods) % {"n": have.periods}
    return Step(
        _("Bell schedule"),
        _("Lab days and staffed hours are read from it."),
        f"{days}, {rows}",
        bool(have.periods),
        reverse("lessons:day-list") if have.kinds else reverse("lessons:kind-new"),
        _("Open") if have.kinds else _("Write it down"),
    )


def _kinds(count: int) -> str:
    return ngettext("%(n)d kind of day", "%(n)d kinds of day", count) % {"n": count}


def _room(counted: Had, room: Room | None) -> Step:
    spans, have = counted.spans, _("no room yet")
    if room is not None:
        have = ngettext("%(room)s, %(n)d staffed span", "%(room)s, %(n)d staffed spans", spans) % {
            "room": room, "n": spans,
        }  # fmt: skip
    return Step(
        _("Room and its hours"),
        _("A print starts and is cleared only while somebody is there."),
        have,
        room is not None and spans > 0,
        reverse("printing:room-edit", args=[room.pk]) if room else reverse("printing:room-new"),
        _("Open") if room else _("Add the room"),
    )


def _printers(have: Had, room: Room | None) -> Step:
    count = have.printers
    return Step(
        _("Printers"),
        _("Their beds say what fits, their speeds how long it takes."),
        ngettext("%(n)d printer", "%(n)d printers", count) % {"n": count},
        count > 0,
        reverse("printing:printer-new", args=[room.pk]) if room else "",
        _("Add a printer"),
    )


def _spools(have: Had) -> Step:
    return Step(
        _("Spools"),
        _("The plan knows which colour is loaded, and whether it lasts."),
        _("%(all)d, of them %(on)d on printers") % {"all": have.spools, "on": have.loaded},
        have.loaded > 0,
        reverse("printing:spool-list"),
        _("Open"),
    )


def _staff(have: Had) -> Step:
    teachers = ngettext("%(n)d teacher", "%(n)d teachers", have.teachers) % {"n": have.teachers}
    technicians = ngettext("%(n)d technician", "%(n)d technicians", have.technicians) % {"n": have.technicians}
    return Step(
        _("People"),
        _("A teacher for each class. A technician at the bench; until there is one, you are."),
        f"{teachers}, {technicians}",
        have.teachers > 0,
        reverse("accounts:people"),
        _("Open"),
    )


def _lesson(have: Had) -> list[Step]:
    plans, classes = have.plans, have.classes
    return [
        Step(
            _("A lesson and its kit"),
            _("What the class makes. Each part of its kit is measured: your first check."),
            ngettext("%(n)d lesson", "%(n)d lessons", plans) % {"n": plans}
            + ", "
            + _("%(checked)d of %(all)d kit parts measured") % {"checked": have.measured, "all": have.parts},
            have.measured > 0,
            reverse("lessons:plan-list"),
            _("Open"),
        ),
        Step(
            _("First class"),
            _("Paste its list; print the join cards."),
            ngettext("%(n)d class", "%(n)d classes", classes) % {"n": classes},
            classes > 0,
            reverse("lessons:class-list") if classes else reverse("lessons:class-new"),
            _("Open") if classes else _("Make one"),
        ),
    ]
