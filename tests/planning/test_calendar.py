"""Staffed minutes: hand-computed days, and both clock changes of the year."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calendar import Calendar, StaffedInterval, StaffedMinutes, build_calendar

BERLIN, NEW_YORK = "Europe/Berlin", "America/New_York"
SCHOOL_DAY = (StaffedInterval(time(8), time(12)), StaffedInterval(time(12, 30), time(15, 30)))


def spans(calendar: Calendar) -> list[tuple[int, int, int]]:
    return [(part.start, part.end, part.staff) for part in calendar.staffed]


def test_a_plain_day() -> None:
    calendar = build_calendar(date(2026, 11, 2), 2, BERLIN, {date(2026, 11, 3): SCHOOL_DAY})
    assert calendar.origin == datetime(2026, 11, 1, 23, 0, tzinfo=UTC)
    assert spans(calendar) == [(1920, 2160, 1), (2190, 2370, 1)]
    assert (calendar.days[0].start, calendar.days[0].end, calendar.end) == (1920, 2370, 2880)
    assert calendar.staffed_end(2170) == 2370, "lunch belongs to the day"
    assert calendar.staffed_end(1919) is calendar.staffed_end(2370) is None
    assert (calendar.staff_at(2159), calendar.staff_at(2160), calendar.staff_at(2190)) == (1, 0, 1)


@pytest.mark.parametrize(
    ("zone", "change", "hours"),
    [
        # The dates of the changes are those of the time zone database (EU: last Sundays of March and October; USA:
        # second Sunday of March, first of November); the lengths of the days follow.
        (BERLIN, date(2026, 3, 29), 23),
        (BERLIN, date(2026, 10, 25), 25),
        (NEW_YORK, date(2026, 3, 8), 23),
        (NEW_YORK, date(2026, 11, 1), 25),
    ],
)
def test_the_day_of_a_clock_change_has_another_length_and_eight_stays_eight(
    zone: str, change: date, hours: int
) -> None:
    calendar = build_calendar(change, 2, zone, lambda day: SCHOOL_DAY)
    first, second = calendar.days
    assert first.start == (hours - 24 + 8) * 60
    assert second.start - first.start == 24 * 60, "8:00 after the change to 8:00 on the next day"
    assert calendar.end == (hours + 24) * 60
    for day in calendar.days:
        assert calendar.to_datetime(day.start).time() == time(8)
        assert calendar.to_datetime(day.end).time() == time(15, 30)


@pytest.mark.parametrize(
    ("change", "start", "end", "minutes"),
    [
        (date(2026, 3, 29), time(1), time(4), 120),  # 2:00 to 3:00 does not exist
        (date(2026, 3, 29), time(2, 15), time(2, 45), 30),  # a skipped time is moved an hour forward
        (date(2026, 10, 25), time(1), time(4), 240),  # 2:00 to 3:00 occurs twice
        (date(2026, 10, 25), time(2, 15), time(2, 45), 90),  # from the first 2:15 to the second 2:45
    ],
)
def test_work_across_a_clock_change_counts_real_minutes(change: date, start: time, end: time, minutes: int) -> None:
    calendar = build_calendar(change, 1, BERLIN, lambda day: (StaffedInterval(start, end),))
    assert [part.end - part.start for part in calendar.staffed] == [minutes]


def test_staff_of_overlapping_intervals_add_up() -> None:
    shifts = (StaffedInterval(time(8), time(12), 1), StaffedInterval(time(10), time(14), 2))
    calendar = build_calendar(date(2026, 11, 2), 1, "UTC", lambda day: shifts)
    assert spans(calendar) == [(480, 600, 1), (600, 720, 3), (720, 840, 2)]


def test_neighbouring_periods_join_and_midnight_is_the_end_of_the_day() -> None:
    periods = (StaffedInterval(time(20), time(22)), StaffedInterval(time(22), time(0)))
    calendar = build_calendar(date(2026, 11, 2), 2, "UTC", {date(2026, 11, 2): periods})
    assert spans(calendar) == [(1200, 1440, 1)]


def test_an_evening_limit_for_unattended_runs() -> None:
    until = lambda day: datetime.combine(day, time(20), ZoneInfo(BERLIN))  # noqa: E731
    calendar = build_calendar(date(2026, 11, 2), 1, BERLIN, lambda day: SCHOOL_DAY, until)
    assert calendar.days[0].unattended_until == 1200


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 366 * 24 * 60 - 1), st.sampled_from([BERLIN, NEW_YORK, "UTC", "Australia/Lord_Howe"]))
def test_minutes_and_moments_are_inverse(minute: int, zone: str) -> None:
    calendar = build_calendar(date(2026, 1, 1), 366, zone, {})
    moment = calendar.to_datetime(minute)
    assert calendar.to_minute(moment) == minute
    assert calendar.to_minute(moment + timedelta(seconds=59)) == minute
    assert moment.astimezone(UTC) - calendar.origin == timedelta(minutes=minute)


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="end after it starts"):
        StaffedInterval(time(9), time(8))
    with pytest.raises(ValueError, match="negative"):
        StaffedInterval(time(8), time(9), -1)
    overlap = (StaffedMinutes(0, 10, 1), StaffedMinutes(5, 20, 1))
    with pytest.raises(ValueError, match="in order"):
        Calendar(datetime(2026, 1, 1, tzinfo=UTC), "UTC", 100, overlap, ())
    with pytest.raises(ValueError, match="time zone"):
        build_calendar(date(2026, 1, 1), 1, "UTC", {}).to_minute(datetime(2026, 1, 1))


def test_minutes_that_the_change_skips_take_nobody_away() -> None:
    """2:30 to 3:00 does not exist on that morning; who is there from 2:00 to 7:00 is there from 3:00."""
    skipped = StaffedInterval(time(2, 30), time(3))
    calendar = build_calendar(date(2026, 3, 29), 1, BERLIN, lambda day: (skipped, StaffedInterval(time(2), time(7))))
    assert spans(calendar) == [(120, 360, 1)]


def test_where_the_clocks_change_at_midnight_each_minute_belongs_to_one_date() -> None:
    """In Havana midnight comes twice on 1 November 2026 (IANA time zone database): that date has 25 hours."""
    all_day = (StaffedInterval(time(0), time(0)),)
    calendar = build_calendar(date(2026, 10, 31), 3, "America/Havana", lambda day: all_day)
    assert spans(calendar) == [(0, 1440, 1), (1440, 2940, 1), (2940, 4380, 1)]
    assert calendar.end == 4380
