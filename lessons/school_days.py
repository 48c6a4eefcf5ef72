"""Which date is of which kind, and its periods: the school's bell schedule read once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from lessons.models import DayKind, Period, SchoolDay
from makerlab.accounts.models import School


@dataclass(frozen=True)
class SchoolDays:
    """Kinds of day by key, which weekday and which date is of which, and the periods of each kind."""

    time_zone: str
    kind_names: dict[int, str]
    weekday_kinds: dict[int, int]  # Monday 0 to Sunday 6 -> kind
    special: dict[date, int | None]  # None: a holiday
    names: dict[date, str]
    periods: dict[int, tuple[Period, ...]]

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def kind_of(self, day: date) -> int | None:
        """The kind of day, None on a day without school."""
        return self.special[day] if day in self.special else self.weekday_kinds.get(day.weekday())

    def periods_on(self, day: date) -> tuple[Period, ...]:
        kind = self.kind_of(day)
        return () if kind is None else self.periods.get(kind, ())

    def period_names(self) -> list[str]:
        """Every period of the school once, in order of time."""
        ordered = sorted((p for rows in self.periods.values() for p in rows), key=lambda p: (p.starts_at, p.name))
        return list(dict.fromkeys(period.name for period in ordered))


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


def read_school_days(school: School) -> SchoolDays:
    """Three queries, whatever the number of dates."""
    kinds = list(DayKind.objects.filter(school=school).order_by("id"))
    weekday_kinds: dict[int, int] = {}
    for kind in kinds:
        for weekday in kind.weekdays:
            weekday_kinds.setdefault(int(weekday), kind.pk)
    periods: dict[int, tuple[Period, ...]] = {}
    for period in Period.objects.filter(day_kind__in=kinds):
        periods[period.day_kind_id] = (*periods.get(period.day_kind_id, ()), period)
    special = list(SchoolDay.objects.filter(school=school))
    return SchoolDays(
        time_zone=school.time_zone,
        kind_names={kind.pk: kind.name for kind in kinds},
        weekday_kinds=weekday_kinds,
        special={day.date: day.day_kind_id for day in special},
        names={day.date: day.name for day in special},
        periods=periods,
    )


def slots(days: SchoolDays, dates: Iterable[date], period: str) -> tuple[list[Slot], list[Skipped]]:
    """The period on each of the dates, at the times of that date's kind of day."""
    found: list[Slot] = []
    skipped: list[Skipped] = []
    for day in dates:
        kind = days.kind_of(day)
        row = next((each for each in days.periods_on(day) if each.name == period), None)
        if kind is None:
            name = days.names.get(day, "")
            skipped.append(Skipped(day, _("no school: %(name)s") % {"name": name} if name else _("no school")))
        elif row is None:
            words = _("no %(period)s on a day of kind %(kind)s")
            skipped.append(Skipped(day, words % {"period": period, "kind": days.kind_names[kind]}))
        else:
            starts_at, ends_at = (datetime.combine(day, at, tzinfo=days.zone) for at in (row.starts_at, row.ends_at))
            found.append(Slot(day, period, starts_at, ends_at))
    return found, skipped
