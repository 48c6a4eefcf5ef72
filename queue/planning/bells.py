"""From a bell schedule to staffed intervals: day kinds, periods, A/B rotation, holidays and exceptions.

``Bells.on`` is a day plan for ``planning.calendar.build_calendar``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time, timedelta

from planning.calendar import StaffedInterval


@dataclass(frozen=True, slots=True)
class Period:
    """One lesson of a day kind, by wall clock."""

    name: str
    start: time
    end: time


@dataclass(frozen=True, slots=True)
class DayKind:
    """One kind of school day: its periods, and when staff are there who can start and clear prints."""

    name: str
    periods: tuple[Period, ...] = ()
    staffed: tuple[StaffedInterval, ...] = ()


@dataclass(frozen=True, slots=True)
class Timetable:
    """Which day kinds are in turn from ``first`` to ``last`` (None: until further notice).

    ``by_weekday``: weekday (Monday 0) -> day kind. Dates on other weekdays are free. ``rotation``, when given, replaces
    it on ``turning`` weekdays (empty: on all of ``by_weekday``): its kinds take turns over the school days on those
    weekdays, the first on or after ``first`` having the first turn. A holiday does not use up a turn; a date that is of
    another kind by exception does.
    """

    first: date
    by_weekday: Mapping[int, str]
    last: date | None = None
    rotation: tuple[str, ...] = ()
    turning: frozenset[int] = frozenset()

    def turns_on(self, day: date) -> bool:
        """Whether the rotation says what kind that date is."""
        return bool(self.rotation) and day.weekday() in (self.turning or self.by_weekday)


@dataclass(frozen=True, slots=True)
class Bells:
    """A school's bell schedule. ``exceptions``: date -> day kind, or None for a holiday; an exception always holds.

    Of several timetables in effect on a date, the one that began last counts.
    """

    kinds: Mapping[str, DayKind]
    timetables: tuple[Timetable, ...]
    exceptions: Mapping[date, str | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        named = {name for each in self.timetables for name in (*each.by_weekday.values(), *each.rotation)}
        named |= {name for name in self.exceptions.values() if name is not None}
        if unknown := sorted(named - set(self.kinds)):
            raise ValueError(f"There is no day kind called {unknown[0]}.")

    def kind_on(self, day: date) -> DayKind | None:
        """The kind of that day; None on a day without school."""
        if day in self.exceptions:
            name = self.exceptions[day]
            return None if name is None else self.kinds[name]
        timetable = self._in_effect(day)
        if timetable is None:
            return None
        if timetable.turns_on(day):
            return self.kinds[timetable.rotation[self._turns_before(timetable, day) % len(timetable.rotation)]]
        name = timetable.by_weekday.get(day.weekday())
        return None if name is None else self.kinds[name]

    def on(self, day: date) -> tuple[StaffedInterval, ...]:
        """When staff are there that day."""
        kind = self.kind_on(day)
        return () if kind is None else kind.staffed

    def _in_effect(self, day: date) -> Timetable | None:
        current = [each for each in self.timetables if each.first <= day and (each.last is None or day <= each.last)]
        return max(current, key=lambda each: each.first, default=None)

    def _turns_before(self, timetable: Timetable, day: date) -> int:
        """Turns of the rotation used up since the timetable began."""
        dates = (timetable.first + timedelta(days=offset) for offset in range((day - timetable.first).days))
        return sum(timetable.turns_on(each) and self.exceptions.get(each, "") is not None for each in dates)
