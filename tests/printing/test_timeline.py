"""Positions of the room plan drawing against values worked out by hand."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from planning.calendar import StaffedInterval
from printing.hours import Bells
from printing.timeline import Bar, Deadline, Out, draw_day, overlaps

ZONE = ZoneInfo("America/Chicago")
DAY = date(2026, 11, 17)  # a Tuesday
STAFFED = (StaffedInterval(time(8), time(12)), StaffedInterval(time(12, 30), time(16)))
PERIODS = (
    SimpleNamespace(name="Period 1", starts_at=time(8), ends_at=time(9)),
    SimpleNamespace(name="Lunch", starts_at=time(12), ends_at=time(12, 30)),
)


def bells(**changes) -> Bells:
    values = {
        "time_zone": "America/Chicago",
        "weekday_kinds": dict.fromkeys(range(5), 1),
        "special": {},
        "names": {},
        "staffed": {1: STAFFED},
        "periods": {1: PERIODS},
    }
    return Bells(**{**values, **changes})


def on(hour: int, minute: int = 0, day: date = DAY) -> datetime:
    return datetime.combine(day, time(hour, minute), ZONE)


def bar(start: datetime, end: datetime, row: int = 0, **changes) -> Bar:
    values = {"key": f"P{row}", "tone": "b-plan", "icon": "s-plan", "label": "P1", "note": "7B ×4", "words": "P1"}
    return Bar(row=row, start=start, end=end, **{**values, **changes})


def test_eight_hours_are_seventy_px_each():
    """08:00 to 16:00 on 560 px between two margins of 8: 70 px an hour, 7/6 px a minute."""
    day = draw_day(DAY, bells(), 2, [bar(on(9), on(11, 30)), bar(on(13), on(14), row=1)])
    first, second = day.bars
    assert (first.x, first.width) == (8 + 70, 175)
    assert (second.x, second.width) == (8 + 5 * 70, 70)
    assert (first.y, second.y) == (62 + 9, 62 + 60 + 9)
    assert day.height == 62 + 2 * 60 + 30
    assert day.rows == (122, 182)


def test_lunch_is_marked_as_time_without_staff():
    day = draw_day(DAY, bells(), 1, [])
    assert [(span.x, span.width) for span in day.off] == [(8 + 4 * 70, 35)]


def test_periods_and_ticks():
    day = draw_day(DAY, bells(), 1, [])
    assert [(span.x, span.width, span.label) for span in day.periods] == [(8, 70, "1"), (288, 35, "Lunch")]
    assert [(span.x, span.label) for span in day.ticks] == [
        (8, "08:00"),
        (148, "10:00"),
        (288, "12:00"),
        (428, "14:00"),
        (568, "16:00"),
    ]


def test_a_run_past_closing_widens_the_day():
    """Until 18:00: ten hours on 560 px, and the last two are without staff."""
    day = draw_day(DAY, bells(), 1, [bar(on(15), on(18))])
    assert (day.bars[0].x, day.bars[0].width) == (8 + 7 * 56, 3 * 56)
    assert (day.off[-1].x, day.off[-1].width) == (8 + 8 * 56, 2 * 56)


def test_a_run_over_midnight_shows_on_both_days():
    """Monday 15:00 to Tuesday 03:00. Monday is drawn 08:00 to 24:00 at 35 px an hour, Tuesday 00:00 to 16:00 too."""
    night = bar(on(15, day=DAY - timedelta(days=1)), on(3), tone="b-night")
    monday = draw_day(DAY - timedelta(days=1), bells(), 1, [night])
    tuesday = draw_day(DAY, bells(), 1, [night])
    assert (monday.bars[0].x, monday.bars[0].width) == (8 + 7 * 35, 9 * 35)
    assert (tuesday.bars[0].x, tuesday.bars[0].width) == (8, 3 * 35)


def test_the_part_past_the_lab_day_is_hatched():
    """Due 10:00, ends 11:00: the last hour of two."""
    day = draw_day(DAY, bells(), 1, [bar(on(9), on(11), due=on(10))], deadlines=[Deadline(on(10), "7B lab day")])
    drawn = day.bars[0]
    assert (drawn.tone, drawn.icon, drawn.late) == ("b-late", "s-late", "+1 h 00 min")
    assert (drawn.late_x, drawn.late_width) == (8 + 140, 70)
    assert [(span.x, span.label) for span in day.dues] == [(148, "7B lab day")]


@pytest.mark.parametrize(
    ("due", "tone", "late_x"),
    [(on(11), "b-plan", None), (on(10, 59), "b-late", 216.8), (on(8), "b-late", 78.0), (None, "b-plan", None)],
)
def test_late_means_later_than_the_deadline(due, tone, late_x):
    """10:59 lies at 8 + 179 min x 7/6 = 216.83; a deadline before the start hatches all of it."""
    drawn = draw_day(DAY, bells(), 1, [bar(on(9), on(11), due=due)]).bars[0]
    assert (drawn.tone, drawn.late_x) == (tone, late_x)


def test_now_stands_where_it_is_and_only_today():
    assert draw_day(DAY, bells(), 1, [], now=on(12)).now.x == 288
    assert draw_day(DAY, bells(), 1, [], now=on(12)).now.label == "12:00"
    assert draw_day(DAY, bells(), 1, [], now=on(20)).now is None
    assert draw_day(DAY, bells(), 1, [], now=on(12, day=DAY + timedelta(days=1))).now is None


def test_outages_are_cut_to_the_day():
    out = Out(1, on(7), on(10), "nozzle")
    span = draw_day(DAY, bells(), 2, [], out=[out]).out[0]
    assert (span.x, span.width, span.y) == (8, 140, 62 + 60 + 9)


@pytest.mark.parametrize(
    ("minutes", "label", "note"),
    [
        (60, "P1", "7B ×4"),
        (39, "P1", "7B…"),
        (38, "P1", ""),
        (19, "P1", ""),
        (18, "1", ""),
        (12, "1", ""),
        (11, "", ""),
    ],
)
def test_small_bars_say_less(minutes, label, note):
    """A minute is 1.167 px: a name of two letters has room with its icon from 38.7 minutes on, alone from 18.5 on,
    its number from 11.8 on."""
    drawn = draw_day(DAY, bells(), 1, [bar(on(9), on(9) + timedelta(minutes=minutes))]).bars[0]
    assert (drawn.label, drawn.note) == (label, note)
    assert drawn.width >= 2, "even a minute can be seen"


def test_a_day_without_school_says_why():
    day = draw_day(DAY, bells(special={DAY: None}, names={DAY: "founding day"}), 1, [])
    assert day.holiday == "founding day"
    assert day.periods == ()
    assert [(span.x, span.width) for span in day.off] == [(8, 560)]


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 11, 2), 24)],
)
def test_the_two_clock_changes(day, hours):
    """Chicago in 2026: 8 March has 23 hours, 1 November 25 (tz database). A bar over the whole day fills the drawing,
    and one from noon to one has a 1/23, 1/25 or 1/24 of it."""
    night = Bells(**{**vars(bells()), "staffed": {}, "periods": {}})
    whole = bar(on(0, day=day), on(0, day=day + timedelta(days=1)))
    noon = bar(on(12, day=day), on(13, day=day), row=1)
    drawn = draw_day(day, night, 2, [whole, noon])
    assert (drawn.bars[0].x, drawn.bars[0].width) == (8, 560)
    assert drawn.bars[1].width == pytest.approx(560 / hours, abs=0.11)
    labels = [span.label for span in drawn.ticks]
    assert labels[0] == "00:00"
    assert "12:00" in labels


def test_overlaps_are_found():
    bars = [bar(on(9), on(11)), bar(on(10), on(12), key="P2"), bar(on(9), on(12), row=1)]
    assert overlaps(bars) == [("P0", "P2")]
    assert overlaps(bars[1:]) == []


def test_late_when_cleared_after_the_deadline_though_it_ends_before():
    """Ends 09:50, cleared 10:10, due 10:00: late by ten minutes, and nothing of the bar lies past the deadline."""
    drawn = draw_day(DAY, bells(), 1, [bar(on(9), on(9, 50), due=on(10), ready_at=on(10, 10))]).bars[0]
    assert (drawn.tone, drawn.late_x, drawn.bar.late_s) == ("b-late", None, 600)
