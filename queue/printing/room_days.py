"""Which days the room plan shows: a day beside the next, or a week; and the way to those before and after."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from printing.hours import Bells

DAYS_SHOWN = 2
DAYS_TO_CHOOSE = 8
FARTHEST = timedelta(days=200)
WEEK = timedelta(days=7)
ONE_DAY = timedelta(days=1)


class View(StrEnum):
    """How much of the plan is drawn at once."""

    DAY = "day"
    WEEK = "week"


@dataclass(frozen=True)
class Window:
    """The days drawn, the days to choose from in the bar, and the day that earlier and later lead to."""

    view: View
    days: tuple[date, ...]
    choices: tuple[date, ...]
    earlier: date | None
    later: date | None

    @property
    def is_week(self) -> bool:
        return self.view == View.WEEK

    @property
    def monday(self) -> date:
        return monday_of(self.days[0])

    @property
    def last(self) -> date:
        return self.days[-1]


def window_of(bells: Bells, moments: Iterable[datetime | None], wish: date | None, view: View, now: datetime) -> Window:
    """``moments``: when something is or was set up or started. ``wish``: the first day, or any day of the week, wanted;
    today where none is, or where it lies further off than anybody plans."""
    today = now.astimezone(bells.zone).date()
    busy = {moment.astimezone(bells.zone).date() for moment in moments if moment}
    wish = wish if wish is not None and abs(wish - today) <= FARTHEST else today
    choices = _choices(bells, busy, today)
    if view == View.WEEK:
        days = _of_week(bells, busy, monday_of(wish))
        return Window(view, days, choices, _near(today, monday_of(wish) - WEEK), _near(today, monday_of(wish) + WEEK))
    first = wish if _shows(bells, busy, wish) or wish == today else _next(bells, busy, wish, ONE_DAY) or wish
    second = _next(bells, busy, first, ONE_DAY)
    days = (first,) if second is None else (first, second)
    return Window(view, days, choices, _next(bells, busy, first, -ONE_DAY), second)


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _near(today: date, day: date) -> date | None:
    return day if abs(day - today) <= FARTHEST else None


def _shows(bells: Bells, busy: set[date], day: date) -> bool:
    """Whether there is anything to draw: somebody is in the room, or something runs."""
    return day in busy or bool(bells.staffed_on(day))


def _next(bells: Bells, busy: set[date], day: date, step: timedelta) -> date | None:
    for count in range(1, 4 * DAYS_TO_CHOOSE):
        if _shows(bells, busy, day + count * step):
            return day + count * step
    return None


def _of_week(bells: Bells, busy: set[date], monday: date) -> tuple[date, ...]:
    """Monday to Friday, holidays too; Saturday and Sunday where there is something to draw."""
    days = [monday + timedelta(days=at) for at in range(7)]
    return tuple(day for day in days if day.weekday() < 5 or _shows(bells, busy, day))


def _choices(bells: Bells, busy: set[date], today: date) -> tuple[date, ...]:
    """The last day that held something, today, the days ahead that hold something, and staffed days to fill up."""
    past = sorted(day for day in busy if day < today)[-1:]
    ahead = {today} | {day for day in busy if day >= today}
    day = today
    while len(ahead) < DAYS_TO_CHOOSE and (after := _next(bells, busy, day, ONE_DAY)) is not None:
        day = after
        ahead.add(day)
    return tuple(past + sorted(ahead)[:DAYS_TO_CHOOSE])
