"""Which date is of which kind, and its periods: the school's terms and bell schedule read once.

The one source for lessons and for the hours of the rooms (printing.hours).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import islice
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from lessons.models import DayKind, Period, SchoolDay, Term
from makerlab.accounts.models import School
from makerlab.together import Wanted, rows_as, together, whole
from planning.bells import Bells, Timetable
from planning.bells import DayKind as BellsKind


@dataclass(frozen=True)
class TermDays:
    """School is from ``first`` to ``last``. ``rotation``: kinds of day (keys) that take turns over the school days
    on the weekdays ``turning``; empty where every weekday has its own kind."""

    first: date
    last: date
    name: str = ""
    rotation: tuple[int, ...] = ()
    turning: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class SchoolDays:
    """Kinds of day by key, which weekday and which date is of which, and the periods of each kind. A school that wrote
    down no terms has school on its weekdays all year; one that did, only within them."""

    time_zone: str
    kind_names: dict[int, str] = field(default_factory=dict)
    weekday_kinds: dict[int, int]  # Monday 0 to Sunday 6 -> kind
    special: dict[date, int | None]  # None: a holiday
    names: dict[date, str]
    periods: dict[int, tuple[Period, ...]]
    terms: tuple[TermDays, ...] = ()

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    @cached_property
    def _bells(self) -> Bells:
        """The same as the planner's bell schedule; it knows how a rotation turns."""
        by_weekday = {weekday: str(kind) for weekday, kind in self.weekday_kinds.items()}
        tables = tuple(
            Timetable(each.first, by_weekday, each.last, tuple(map(str, each.rotation)), each.turning)
            for each in self.terms
        )
        exceptions = {day: None if kind is None else str(kind) for day, kind in self.special.items()}
        named = {*self.kind_names, *self.periods, *self.weekday_kinds.values(), *self.special.values()}
        named |= {kind for each in self.terms for kind in each.rotation}
        kinds = {str(kind): BellsKind(str(kind)) for kind in named if kind is not None}
        return Bells(kinds, tables or (Timetable(date.min, by_weekday),), exceptions)

    def kind_of(self, day: date) -> int | None:
        """The kind of day, None on a day without school."""
        kind = self._bells.kind_on(day)
        return None if kind is None else int(kind.name)

    def term_of(self, day: date) -> TermDays | None:
        return next((each for each in self.terms if each.first <= day <= each.last), None)

    def why_none(self, day: date) -> str:
        """Why there is no school that day."""
        if name := self.names.get(day):
            return _("no school: %(name)s") % {"name": name}
        if self.terms and self.term_of(day) is None:
            return _("no school: outside the terms")
        return _("no school")

    def periods_on(self, day: date) -> tuple[Period, ...]:
        kind = self.kind_of(day)
        return () if kind is None else self.periods.get(kind, ())

    def period_names(self) -> list[str]:
        """Every period of the school once, in order of time."""
        ordered = sorted((p for rows in self.periods.values() for p in rows), key=lambda p: (p.starts_at, p.name))
        return list(dict.fromkeys(period.name for period in ordered))

    def next_school_days(self, start: date, count: int, farthest: int = 200) -> list[date]:
        """The next days with school from ``start`` on; fewer where the terms end before."""
        ahead = (start + timedelta(days=offset) for offset in range(farthest))
        return list(islice((day for day in ahead if self.kind_of(day) is not None), count))


@dataclass(frozen=True, slots=True)
class Slot:
    """One period on one date."""

    day: date
    period: str
    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Skipped:
    """A date on which there is no such period, and why."""

    day: date
    why: str


@dataclass(frozen=True, slots=True)
class Rows:
    """What a school wrote down of its year."""

    kinds: list[DayKind]
    periods: list[Period]
    special: list[SchoolDay]
    terms: list[Term]


def rows_of(school_id: int) -> Rows:
    """One query, whatever the number of dates."""
    return rows_from(together(**wanted_of(school_id)), school_id)


PERIODS = ("pk", "name", "weekdays", "periods__pk", "periods__name", "periods__starts_at", "periods__ends_at")


def wanted_of(school_id: int) -> dict[str, Wanted]:
    """What ``rows_from`` takes, for whoever asks for more in the same question."""
    return {
        "kinds": (DayKind.objects.filter(school_id=school_id), PERIODS),
        "special": (SchoolDay.objects.filter(school_id=school_id), whole(SchoolDay)),
        "terms": (Term.objects.filter(school_id=school_id), whole(Term)),
    }


def rows_from(found: dict[str, list[tuple[Any, ...]]], school_id: int) -> Rows:
    """The answer to ``wanted_of`` in the order of its rows."""
    kinds: dict[int, DayKind] = {}
    periods = []
    for key, name, weekdays, period_key, period, starts_at, ends_at in sorted(found["kinds"], key=lambda row: row[0]):
        kind = kinds.setdefault(key, DayKind(pk=key, school_id=school_id, name=name, weekdays=weekdays))
        if period_key is not None:
            row = Period(pk=period_key, name=period, starts_at=starts_at, ends_at=ends_at)
            row.day_kind = kind
            periods.append(row)
    periods.sort(key=lambda row: (row.day_kind_id, row.starts_at))
    special = sorted(rows_as(SchoolDay, found["special"]), key=lambda row: row.date)
    terms = sorted(rows_as(Term, found["terms"]), key=lambda row: row.first)
    return Rows(list(kinds.values()), periods, special, terms)


def read_school_days(school: School) -> SchoolDays:
    """The days of a school, in one query."""
    return SchoolDays(**fields_of(rows_of(school.pk), school.time_zone))


def fields_of(rows: Rows, time_zone: str) -> dict[str, Any]:
    """The fields of SchoolDays, for whoever adds to them."""
    weekday_kinds: dict[int, int] = {}
    for kind in rows.kinds:
        for weekday in kind.weekdays:
            weekday_kinds.setdefault(int(weekday), kind.pk)
    periods: dict[int, tuple[Period, ...]] = {}
    for period in rows.periods:
        periods[period.day_kind_id] = (*periods.get(period.day_kind_id, ()), period)
    names = {kind.pk: kind.name for kind in rows.kinds}
    return {
        "time_zone": time_zone,
        "kind_names": names,
        "weekday_kinds": weekday_kinds,
        "special": {day.date: day.day_kind_id for day in rows.special},
        "names": {day.date: day.name for day in rows.special},
        "periods": periods,
        "terms": tuple(term_days(term, names) for term in rows.terms),
    }


def term_days(term: Term, known: Collection[int]) -> TermDays:
    """A term as plain values; ``known``: the kinds of day there are."""
    rotation = tuple(kind for kind in term.rotation if kind in known)
    return TermDays(term.first, term.last, term.name, rotation, frozenset(term.turning) if rotation else frozenset())


def slots(days: SchoolDays, dates: Iterable[date], period: str) -> tuple[list[Slot], list[Skipped]]:
    """The period on each of the dates, at the times of that date's kind of day."""
    found: list[Slot] = []
    skipped: list[Skipped] = []
    for day in dates:
        kind = days.kind_of(day)
        row = next((each for each in days.periods_on(day) if each.name == period), None)
        if kind is None:
            skipped.append(Skipped(day, days.why_none(day)))
        elif row is None:
            words = _("no %(period)s on a day of kind %(kind)s")
            skipped.append(Skipped(day, words % {"period": period, "kind": days.kind_names[kind]}))
        else:
            starts_at, ends_at = (datetime.combine(day, at, tzinfo=days.zone) for at in (row.starts_at, row.ends_at))
            found.append(Slot(day, period, starts_at, ends_at))
    return found, skipped
