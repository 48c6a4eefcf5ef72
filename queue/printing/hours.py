"""When somebody is in the room: the school's kinds of day and the room's hours as the planner's calendar."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from lessons.models import DayKind, Period, SchoolDay
from planning.calendar import Calendar, StaffedInterval, build_calendar
from printing.models import Printer, Room, RoomHours


@dataclass(frozen=True)
class Bells:
    """The kinds of day of one school, read once: which date is of which kind, who is in the room, which periods."""

    time_zone: str
    weekday_kinds: dict[int, int]  # Monday 0 to Sunday 6 -> kind
    special: dict[date, int | None]  # None: a holiday
    names: dict[date, str]
    staffed: dict[int, tuple[StaffedInterval, ...]]
    periods: dict[int, tuple[Period, ...]]
    extra: dict[date, tuple[StaffedInterval, ...]] = field(default_factory=dict)  # evenings and other single dates

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def kind_of(self, day: date) -> int | None:
        """The kind of day, None on a day without school."""
        return self.special[day] if day in self.special else self.weekday_kinds.get(day.weekday())

    def staffed_on(self, day: date) -> tuple[StaffedInterval, ...]:
        kind = self.kind_of(day)
        return (*(() if kind is None else self.staffed.get(kind, ())), *self.extra.get(day, ()))

    def periods_on(self, day: date) -> tuple[Period, ...]:
        kind = self.kind_of(day)
        return () if kind is None else self.periods.get(kind, ())

    def calendar(self, first: date, days: int) -> Calendar:
        """Staffed minutes of ``days`` local dates from midnight of ``first``."""
        return build_calendar(first, days, self.time_zone, self.staffed_on)


def read_bells(room: Room) -> Bells:
    """Five queries, whatever the number of days."""
    kinds = list(DayKind.objects.filter(school_id=room.school_id).order_by("id"))
    weekday_kinds: dict[int, int] = {}
    for kind in kinds:
        for weekday in kind.weekdays:
            weekday_kinds.setdefault(int(weekday), kind.pk)
    staffed: dict[int, tuple[StaffedInterval, ...]] = {}
    for hours in RoomHours.objects.filter(room=room):
        interval = StaffedInterval(hours.starts_at, hours.ends_at, hours.staff)
        staffed[hours.day_kind_id] = (*staffed.get(hours.day_kind_id, ()), interval)
    periods: dict[int, tuple[Period, ...]] = {}
    for period in Period.objects.filter(day_kind__in=kinds):
        periods[period.day_kind_id] = (*periods.get(period.day_kind_id, ()), period)
    special_days = list(SchoolDay.objects.filter(school_id=room.school_id))
    extra: dict[date, tuple[StaffedInterval, ...]] = {}
    for span in room.extra_hours.all():
        extra[span.date] = (*extra.get(span.date, ()), StaffedInterval(span.starts_at, span.ends_at, span.staff))
    return Bells(
        time_zone=room.school.time_zone,
        weekday_kinds=weekday_kinds,
        special={day.date: day.day_kind_id for day in special_days},
        names={day.date: day.name for day in special_days},
        staffed=staffed,
        periods=periods,
        extra=extra,
    )


def attended_until(room: Room, now: datetime) -> datetime | None:
    """The end of today's staffed span around ``now``, breaks included; None when nobody comes and goes now."""
    bells = read_bells(room)
    today = now.astimezone(bells.zone).date()
    calendar = bells.calendar(today - timedelta(days=1), 3)
    end = calendar.staffed_end(calendar.to_minute(now))
    return None if end is None else calendar.to_datetime(end)


def is_out_of_service(printer: Printer, now: datetime) -> bool:
    """Whether an outage of the printer covers ``now``."""
    return printer.outages.filter(Q(until__isnull=True) | Q(until__gt=now), since__lte=now).exists()
