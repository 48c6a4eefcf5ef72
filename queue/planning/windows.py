"""When a run may be set up and when it may be cleared, as lists of minutes: the room's calendar in closed form.

Written from the rules, without the decoder's diary: the exact model and the explanations stand on it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from planning.types import Outage, PrinterState, Problem

Span = tuple[int, int]  # first and last minute, both included


def staffed_spans(problem: Problem) -> list[Span]:
    """Minutes from now on with somebody there, as half-open spans; touching ones joined."""
    spans: list[Span] = []
    for part in problem.calendar.staffed:
        start, end = max(part.start, problem.now), part.end
        if part.staff < 1 or start >= end:
            continue
        if spans and spans[-1][1] == start:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((start, end))
    return spans


def action_starts(problem: Problem, minutes: int, earliest: int = 0) -> list[Span]:
    """First minutes of an action of that length with somebody there all the while."""
    length = max(minutes, 1)
    spans = ((max(start, earliest), end - length) for start, end in staffed_spans(problem))
    return [(first, last) for first, last in spans if first <= last]


def setup_starts(
    problem: Problem, printer: PrinterState, handling: int, printing: int, cool: int, earliest: int
) -> list[Span]:
    """First minutes of a set-up of ``handling`` minutes on a printer, followed by so many of printing and cooling: with
    staff, the end within what day and policy allow, no outage met, and time to clear it before the calendar ends."""
    rules, calendar = problem.rules, problem.calendar
    unattended = rules.unattended_allowed and printer.may_run_unattended
    found: list[Span] = []
    spans = action_starts(problem, handling, earliest)
    for day in calendar.days:
        limit = day.end
        if unattended:
            until = calendar.end if day.unattended_until is None else max(day.end, day.unattended_until)
            limit = min(until, calendar.end)
        last_of_day = min(day.end - 1, limit - handling - printing)
        last_of_day = min(last_of_day, calendar.end - handling - printing - cool - rules.clear_min)
        for first, last in spans:
            start, end = max(first, day.start), min(last, last_of_day)
            if start <= end:
                found.append((start, end))
    return _without(found, printer.outages, handling + printing)


def _without(spans: Iterable[Span], outages: Sequence[Outage], running: int) -> list[Span]:
    """The starts from which a run of so many minutes meets no outage."""
    left = list(spans)
    for outage in outages:
        first_bad, last_bad = outage.start - running + 1, outage.end - 1
        if outage.start >= outage.end or first_bad > last_bad:
            continue
        following: list[Span] = []
        for first, last in left:
            if first < first_bad:
                following.append((first, min(last, first_bad - 1)))
            if last > last_bad:
                following.append((max(first, last_bad + 1), last))
        left = following
    return sorted(left)
