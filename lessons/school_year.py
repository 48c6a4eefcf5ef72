"""What the school's year means for the days ahead: the next school days, and meetings that no longer fit them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.utils.translation import gettext as _

from lessons.models import Meeting, Period
from lessons.school_days import SchoolDays, TermDays

AHEAD = 10


@dataclass(frozen=True, slots=True)
class DayAhead:
    """One school day: its kind, its periods, the term it lies in."""

    day: date
    kind: str
    periods: tuple[Period, ...]
    term: str


@dataclass(frozen=True, slots=True)
class Misfit:
    """A meeting that lies where the bell schedule has no such period, and why."""

    meeting: Meeting
    why: str


def days_ahead(days: SchoolDays, start: date, count: int = AHEAD) -> list[DayAhead]:
    """The next school days from ``start`` on."""
    found = []
    for day in days.next_school_days(start, count):
        term, kind = days.term_of(day), days.kind_of(day)
        name = days.kind_names.get(kind, "") if kind is not None else ""
        found.append(DayAhead(day, name, days.periods_on(day), term.name if term else ""))
    return found


def with_term(days: SchoolDays, old: TermDays | None, new: TermDays) -> SchoolDays:
    """The same school with one term more, or another in place of ``old``."""
    return replace(days, terms=(*(each for each in days.terms if each != old), new))


def misfits(days: SchoolDays, meetings: Iterable[Meeting]) -> list[Misfit]:
    """Those of the meetings that lie on a day without school, or at a time their period does not have that day. A
    meeting at a period the school never wrote down is its teacher's own affair."""
    known = set(days.period_names())
    found = []
    for meeting in meetings:
        day = meeting.starts_at.astimezone(days.zone).date()
        why = _why(days, meeting, day, known)
        if why:
            found.append(Misfit(meeting, why))
    return found


def _why(days: SchoolDays, meeting: Meeting, day: date, known: set[str]) -> str:
    if days.kind_of(day) is None:
        return days.why_none(day)
    if meeting.period not in known:
        return ""
    row = next((each for each in days.periods_on(day) if each.name == meeting.period), None)
    if row is None:
        return _("no %(period)s that day") % {"period": meeting.period}
    start, end = (datetime.combine(day, at, tzinfo=days.zone) for at in (row.starts_at, row.ends_at))
    if (meeting.starts_at, meeting.ends_at) != (start, end):
        words = {"period": meeting.period, "start": f"{start:%H:%M}", "end": f"{end:%H:%M}"}
        return _("%(period)s is from %(start)s to %(end)s that day") % words
    return ""
