"""How far a school is set up: what there is, what is missing, and where each thing is said."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Q
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import CheckState, DayKind, KitPart, LessonPlan, Period, SchoolClass
from makerlab.accounts.models import Role, User
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


def steps_of(user: User) -> list[Step]:
    """In the order in which one thing needs another."""
    school = user.school_id
    room = Room.objects.visible_to(user).order_by("id").first()
    staff = _staff(school)
    return [_bells(school), _room(user, room), _printers(school, room), _spools(school), *staff, *_lesson(school)]


def _bells(school: int) -> Step:
    kinds = DayKind.objects.filter(school_id=school).count()
    periods = Period.objects.filter(day_kind__school_id=school).count()
    days, rows = _kinds(kinds), ngettext("%(n)d period", "%(n)d periods", periods) % {"n": periods}
    return Step(
        _("Bell schedule"),
        _("Lab days and staffed hours are read from it."),
        f"{days}, {rows}",
        bool(periods),
        reverse("lessons:day-list") if kinds else reverse("lessons:kind-new"),
        _("Open") if kinds else _("Write it down"),
    )


def _kinds(count: int) -> str:
    return ngettext("%(n)d kind of day", "%(n)d kinds of day", count) % {"n": count}


def _room(user: User, room: Room | None) -> Step:
    spans = RoomHours.objects.filter(room__school_id=user.school_id).count()
    have = _("no room yet")
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


def _printers(school: int, room: Room | None) -> Step:
    count = Printer.objects.filter(room__school_id=school).count()
    return Step(
        _("Printers"),
        _("Their beds say what fits, their speeds how long it takes."),
        ngettext("%(n)d printer", "%(n)d printers", count) % {"n": count},
        count > 0,
        reverse("printing:printer-new", args=[room.pk]) if room else "",
        _("Add a printer"),
    )


def _spools(school: int) -> Step:
    found = Spool.objects.filter(room__school_id=school).aggregate(
        all=Count("pk"), on=Count("pk", filter=Q(printer__isnull=False))
    )
    return Step(
        _("Spools"),
        _("The plan knows which colour is loaded, and whether it lasts."),
        _("%(all)d, of them %(on)d on printers") % found,
        found["on"] > 0,
        reverse("printing:spool-list"),
        _("Open"),
    )


def _staff(school: int) -> list[Step]:
    found = User.objects.filter(school_id=school, is_active=True).aggregate(
        teachers=Count("pk", filter=Q(role=Role.TEACHER)), technicians=Count("pk", filter=Q(role=Role.TECHNICIAN))
    )
    teachers = ngettext("%(n)d teacher", "%(n)d teachers", found["teachers"]) % {"n": found["teachers"]}
    technicians = ngettext("%(n)d technician", "%(n)d technicians", found["technicians"]) % {"n": found["technicians"]}
    return [
        Step(
            _("People"),
            _("A teacher for each class. A technician at the bench; until there is one, you are."),
            f"{teachers}, {technicians}",
            found["teachers"] > 0,
            reverse("accounts:people"),
            _("Open"),
        )
    ]


def _lesson(school: int) -> list[Step]:
    plans = LessonPlan.objects.filter(school_id=school, archived_at__isnull=True).count()
    parts = KitPart.objects.filter(plan__school_id=school).aggregate(
        all=Count("pk"), checked=Count("pk", filter=Q(check_state=CheckState.CHECKED))
    )
    classes = SchoolClass.objects.filter(school_id=school, archived_at__isnull=True).count()
    return [
        Step(
            _("A lesson and its kit"),
            _("What the class makes. Each part of its kit is measured: your first check."),
            ngettext("%(n)d lesson", "%(n)d lessons", plans) % {"n": plans}
            + ", "
            + _("%(checked)d of %(all)d kit parts measured") % parts,
            parts["checked"] > 0,
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
