"""When somebody is in the room: the school's days and the room's hours as the planner's calendar."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from lessons.school_days import SchoolDays, fields_of, rows_of
from planning.calendar import Calendar, StaffedInterval, build_calendar
from printing.models import Printer, Room, RoomHours


@dataclass(frozen=True, kw_only=True)
class Bells(SchoolDays):
    """The school's days, and who is in one room on each kind of them."""

    staffed: dict[int, tuple[StaffedInterval, ...]]
    extra: dict[date, tuple[StaffedInterval, ...]] = field(default_factory=dict)  # evenings and other single dates

    def staffed_on(self, day: date) -> tuple[StaffedInterval, ...]:
        kind = self.kind_of(day)
        return (*(() if kind is None else self.staffed.get(kind, ())), *self.extra.get(day, ()))

    def calendar(self, first: date, days: int) -> Calendar:
        """Staffed minutes of ``days`` local dates from midnight of ``first``."""
        return build_calendar(first, days, self.time_zone, self.staffed_on)


def read_bells(room: Room) -> Bells:
    """Five queries, whatever the number of days."""
    staffed: dict[int, tuple[StaffedInterval, ...]] = {}
    for hours in RoomHours.objects.filter(room=room):
        interval = StaffedInterval(hours.starts_at, hours.ends_at, hours.staff)
        staffed[hours.day_kind_id] = (*staffed.get(hours.day_kind_id, ()), interval)
    extra: dict[date, tuple[StaffedInterval, ...]] = {}
    for span in room.extra_hours.all():
        extra[span.date] = (*extra.get(span.date, ()), StaffedInterval(span.starts_at, span.ends_at, span.staff))
    days = fields_of(rows_of(room.school_id), room.school.time_zone)
    return Bells(**days, staffed=staffed, extra=extra)


def attended_until(room: Room, now: datetime) -> datetime | None:
    """The end of today's staffed span around ``now``, breaks included; None when nobody comes and goes now."""
    bells = read_bells(room)
    today = now.astimezone(bells.zone).date()
    calendar = bells.calendar(today - timedelta(days=1), 3)
    end = calendar.staffed_end(calendar.to_minute(now))
    return None if end is None else calendar.to_datetime(end)


def is_out_of_service(printer: Printer, now: datetime) -> bool:
    """Whether an outage of the printer covers ``now``. Asks nothing where its outages were fetched before."""
    return any(each.since <= now and (each.until is None or each.until > now) for each in printer.outages.all())
