"""Staffed minutes: when somebody is in the room who can start and clear prints.

The planner counts whole minutes from ``Calendar.origin``, an aware UTC datetime, so that the two clock changes of the
year need no care anywhere else: local wall-clock times are turned into minutes here, once, by ``zoneinfo``.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

MINUTES_PER_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class StaffedInterval:
    """Wall-clock time of one day in which ``staff`` people can start and clear. ``end`` 00:00 means midnight."""

    start: time
    end: time
    staff: int = 1
    label: str = ""

    def __post_init__(self) -> None:
        if self.staff < 0:
            raise ValueError("The number of staff cannot be negative.")
        if self.end != time(0) and self.end <= self.start:
            raise ValueError(f"A staffed interval must end after it starts ({self.start:%H:%M} to {self.end:%H:%M}).")


@dataclass(frozen=True, slots=True)
class StaffedMinutes:
    """``staff`` people in ``[start, end)``."""

    start: int
    end: int
    staff: int


@dataclass(frozen=True, slots=True)
class StaffedDay:
    """A school day from the first staffed minute to the last. Unattended runs begun in it end by ``unattended_until``
    (None: whenever they end)."""

    day: date
    start: int
    end: int
    unattended_until: int | None = None


@dataclass(frozen=True, slots=True)
class Calendar:
    """Disjoint staffed minutes in order, the days they form, and the minute the calendar ends.

    Build with ``build_calendar`` (wall-clock plans) or ``always_staffed`` (textbook problems).
    """

    origin: datetime
    timezone: str
    end: int
    staffed: tuple[StaffedMinutes, ...]
    days: tuple[StaffedDay, ...]
    _day_starts: tuple[int, ...] = field(init=False, repr=False, compare=False, default=())

    def __post_init__(self) -> None:
        if self.origin.tzinfo is None:
            raise ValueError("The origin of a calendar must know its time zone.")
        previous_end = 0
        for part in self.staffed:
            if not previous_end <= part.start < part.end <= self.end:
                raise ValueError("Staffed minutes must be in order, apart, and inside the calendar.")
            previous_end = part.end
        object.__setattr__(self, "_day_starts", tuple(day.start for day in self.days))

    def to_minute(self, moment: datetime) -> int:
        """Whole minutes from the origin to an aware datetime, rounded down."""
        if moment.tzinfo is None:
            raise ValueError("A moment must know its time zone.")
        return (moment.astimezone(UTC) - self.origin) // timedelta(minutes=1)

    def to_datetime(self, minute: int) -> datetime:
        """The moment of a planner minute, in the calendar's time zone."""
        return (self.origin + timedelta(minutes=int(minute))).astimezone(ZoneInfo(self.timezone))

    def day_of(self, minute: int) -> StaffedDay | None:
        """The staffed day whose span, first to last staffed minute and breaks included, holds that minute."""
        at = bisect_right(self._day_starts, minute) - 1
        if at < 0 or minute >= self.days[at].end:
            return None
        return self.days[at]

    def staffed_end(self, minute: int) -> int | None:
        """When the staffed day around ``minute`` ends; None when nobody comes and goes around that minute."""
        day = self.day_of(minute)
        return None if day is None else day.end

    def staff_at(self, minute: int) -> int:
        """How many can start and clear in that minute."""
        at = bisect_right(self.staffed, minute, key=lambda part: part.start) - 1
        return self.staffed[at].staff if at >= 0 and minute < self.staffed[at].end else 0


DayPlan = Mapping[date, tuple[StaffedInterval, ...]] | Callable[[date], tuple[StaffedInterval, ...]]
UnattendedUntil = Callable[[date], datetime | None]


def build_calendar(
    origin_date: date,
    days: int,
    timezone: str,
    day_plan: DayPlan,
    unattended_until: UnattendedUntil | None = None,
) -> Calendar:
    """The calendar of ``days`` local dates from midnight of ``origin_date``.

    ``day_plan`` gives each date's staffed intervals (a mapping may leave dates out: nobody comes). Overlapping
    intervals add their staff. A wall-clock time skipped by the spring change is moved forward; one that occurs twice
    in autumn means the first for a start and the second for an end.
    ``unattended_until(date)`` may give the aware moment by which unattended runs begun that day must have ended.
    """
    zone = ZoneInfo(timezone)
    origin = _utc(datetime.combine(origin_date, time(0), zone))
    plan = day_plan if callable(day_plan) else lambda day: day_plan.get(day, ())
    staffed: list[StaffedMinutes] = []
    spans: list[StaffedDay] = []
    for day in (origin_date + timedelta(days=offset) for offset in range(days)):
        parts = _staffed_minutes(day, plan(day), zone, origin)
        if not parts:
            continue
        until = unattended_until(day) if unattended_until else None
        limit = None if until is None else (until.astimezone(UTC) - origin) // timedelta(minutes=1)
        spans.append(StaffedDay(day, parts[0].start, parts[-1].end, limit))
        staffed.extend(parts)
    last_midnight = _utc(datetime.combine(origin_date + timedelta(days=days), time(0), zone))
    return Calendar(origin, timezone, (last_midnight - origin) // timedelta(minutes=1), tuple(staffed), tuple(spans))


def with_extra_hours(calendar: Calendar, start: int, end: int, staff: int = 1) -> Calendar:
    """The same calendar with ``staff`` more people in ``[start, end)``: an evening, a Saturday.

    The day around ``start``, by local date, grows to hold them; a day without any becomes one.
    """
    if not 0 <= start < end <= calendar.end:
        raise ValueError("Extra hours must lie inside the calendar and end after they start.")
    steps: dict[int, int] = {}
    for part in (*calendar.staffed, StaffedMinutes(start, end, staff)):
        steps[part.start] = steps.get(part.start, 0) + part.staff
        steps[part.end] = steps.get(part.end, 0) - part.staff
    day = calendar.to_datetime(start).date()
    there = next((each for each in calendar.days if each.day == day), None)
    if there is None:
        grown = StaffedDay(day, start, end)
    else:
        grown = StaffedDay(day, min(there.start, start), max(there.end, end), there.unattended_until)
    days = sorted([*(each for each in calendar.days if each is not there), grown], key=lambda each: each.start)
    return Calendar(calendar.origin, calendar.timezone, calendar.end, tuple(_parts(steps)), tuple(days))


def always_staffed(minutes: int, staff: int = 1, origin: datetime = datetime(2000, 1, 3, tzinfo=UTC)) -> Calendar:
    """One endless staffed day: the degenerate setting in which published scheduling problems are posed."""
    span = StaffedDay(origin.date(), 0, minutes)
    return Calendar(origin, "UTC", minutes, (StaffedMinutes(0, minutes, staff),), (span,))


def _utc(local: datetime) -> datetime:
    return local.astimezone(UTC)


def _staffed_minutes(
    day: date, intervals: Iterable[StaffedInterval], zone: ZoneInfo, origin: datetime
) -> list[StaffedMinutes]:
    """Disjoint minutes of one day; staff of overlapping intervals added, touching equal neighbours joined."""
    steps: dict[int, int] = {}
    for interval in intervals:
        end_day = day + timedelta(days=1) if interval.end == time(0) else day
        start = _utc(datetime.combine(day, interval.start, zone))
        end = datetime.combine(end_day, interval.end, zone)
        # Of the two readings of a repeated hour the later one; in a skipped hour fold=0 is already the later. A date
        # ends at its first midnight, where the next one begins.
        end = _utc(end) if interval.end == time(0) else max(_utc(end), _utc(end.replace(fold=1)))
        first, last = ((moment - origin) // timedelta(minutes=1) for moment in (start, end))
        if first >= last:  # all of it lies in the hour that is skipped
            continue
        steps[first] = steps.get(first, 0) + interval.staff
        steps[last] = steps.get(last, 0) - interval.staff
    return _parts(steps)


def _parts(steps: Mapping[int, int]) -> list[StaffedMinutes]:
    """From the changes of the number of staff, by minute."""
    parts: list[StaffedMinutes] = []
    staff = 0
    for at, until in pairwise(sorted(steps)):
        staff += steps[at]
        if staff <= 0:
            continue
        if parts and parts[-1].end == at and parts[-1].staff == staff:
            parts[-1] = StaffedMinutes(parts[-1].start, until, staff)
        else:
            parts.append(StaffedMinutes(at, until, staff))
    return parts
