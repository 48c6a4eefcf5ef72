"""When somebody is in the room: the school's days and the room's hours as the planner's calendar."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from lessons.school_days import SchoolDays, fields_of, rows_from
from lessons.school_days import wanted_of as days_wanted
from makerlab.together import Wanted, rows_as, together, whole
from planning.calendar import Calendar, StaffedInterval, build_calendar
from printing.models import ExtraHours, Printer, Room, RoomHours


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


def wanted_of(room: Room) -> dict[str, Wanted]:
    """What ``bells_from`` takes, for whoever asks for more in the same question."""
    return {
        **days_wanted(room.school_id),
        "hours": (RoomHours.objects.filter(room=room), ("day_kind_id", "starts_at", "ends_at", "staff")),
        "extra": (ExtraHours.objects.filter(room=room), whole(ExtraHours)),
    }


def bells_from(found: dict[str, list[tuple[Any, ...]]], room: Room) -> Bells:
    """The answer to ``wanted_of``."""
    staffed: dict[int, tuple[StaffedInterval, ...]] = {}
    for kind, starts_at, ends_at, staff in sorted(found["hours"]):
        staffed[kind] = (*staffed.get(kind, ()), StaffedInterval(starts_at, ends_at, staff))
    extra: dict[date, tuple[StaffedInterval, ...]] = {}
    for span in evenings_from(found):
        extra[span.date] = (*extra.get(span.date, ()), StaffedInterval(span.starts_at, span.ends_at, span.staff))
    days = fields_of(rows_from(found, room.school_id), room.school.time_zone)
    return Bells(**days, staffed=staffed, extra=extra)


def evenings_from(found: dict[str, list[tuple[Any, ...]]]) -> list[ExtraHours]:
    """The evenings and other single dates of the same answer, in order of time."""
    return sorted(rows_as(ExtraHours, found["extra"]), key=lambda span: (span.date, span.starts_at))


def read_bells(room: Room) -> Bells:
    """One query, whatever the number of days."""
    return bells_from(together(**wanted_of(room)), room)


def attended_until(room: Room, now: datetime, bells: Bells | None = None) -> datetime | None:
    """The end of today's staffed span around ``now``, breaks included; None when nobody comes and goes now. ``bells``:
    the room's, where the caller has read them."""
    bells = bells or read_bells(room)
    today = now.astimezone(bells.zone).date()
    calendar = bells.calendar(today - timedelta(days=1), 3)
    end = calendar.staffed_end(calendar.to_minute(now))
    return None if end is None else calendar.to_datetime(end)


def is_out_of_service(printer: Printer, now: datetime) -> bool:
    """Whether an outage of the printer covers ``now``. Asks nothing where its outages were fetched before."""
    return any(each.since <= now and (each.until is None or each.until > now) for each in printer.outages.all())
