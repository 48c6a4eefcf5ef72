"""Bell schedules: hand-written weeks."""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest

from planning.bells import Bells, DayKind, Period, Timetable
from planning.calendar import StaffedInterval, build_calendar

MONDAY = date(2026, 11, 2)
LONG = DayKind("long", (Period("1", time(8), time(8, 50)),), (StaffedInterval(time(8), time(15)),))
SHORT = DayKind("short", (), (StaffedInterval(time(8), time(12), 2),))
KINDS = {kind.name: kind for kind in (LONG, SHORT, DayKind("A"), DayKind("B"))}
SCHOOL_WEEK = {0: "long", 1: "long", 2: "short", 3: "long", 4: "short"}


def kinds_of(bells: Bells, first: date, days: int) -> str:
    """One letter a day, - for a free one."""
    found = (bells.kind_on(first + timedelta(days=offset)) for offset in range(days))
    return "".join(kind.name[0] if kind else "-" for kind in found)


def test_a_plain_week_with_a_holiday_and_an_exception() -> None:
    bells = Bells(KINDS, (Timetable(MONDAY, SCHOOL_WEEK),), {date(2026, 11, 3): None, date(2026, 11, 7): "short"})
    assert kinds_of(bells, MONDAY - timedelta(days=1), 9) == "-l-slss-l", "Tuesday off, school on Saturday"


def test_a_new_timetable_takes_effect_on_its_date_and_ends_on_its_last() -> None:
    weeks = (
        Timetable(MONDAY, SCHOOL_WEEK),
        Timetable(date(2026, 11, 5), dict.fromkeys(range(5), "short"), last=date(2026, 11, 9)),
    )
    assert kinds_of(Bells(KINDS, weeks), MONDAY, 9) == "llsss--sl"


def test_a_and_b_days_take_turns_and_a_holiday_uses_up_none() -> None:
    week = Timetable(MONDAY, dict.fromkeys(range(5), "A"), rotation=("A", "B"))
    assert kinds_of(Bells(KINDS, (week,)), MONDAY, 9) == "ABABA--BA"
    assert kinds_of(Bells(KINDS, (week,), {date(2026, 11, 4): None}), MONDAY, 9) == "AB-AB--AB"
    assert kinds_of(Bells(KINDS, (week,), {date(2026, 11, 4): "short"}), MONDAY, 9) == "ABsBA--BA"


def test_bells_make_a_calendar() -> None:
    bells = Bells(KINDS, (Timetable(MONDAY, SCHOOL_WEEK),))
    calendar = build_calendar(MONDAY, 3, "Europe/Berlin", bells.on)
    assert [(part.start, part.end, part.staff) for part in calendar.staffed] == [
        (480, 900, 1),
        (1920, 2340, 1),
        (3360, 3600, 2),
    ]


def test_an_unknown_day_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="no day kind called feast"):
        Bells(KINDS, (Timetable(MONDAY, SCHOOL_WEEK),), {MONDAY: "feast"})
