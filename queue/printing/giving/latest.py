"""The last day on which printing of a lesson may begin. Until then the room works off what waits already, as planned
without the lesson; the lesson's plates are laid out once, and only their times are looked for anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from planning.types import Stop
from planning.verify import minutes_late
from printing.giving.values import Gift
from printing.planner.layout import LaidOut
from printing.planner.options import KEPT, Option, option_of
from printing.planner.problem import calendar_of
from printing.planner.values import PrinterNow, Snapshot

STEPS_OF_A_DAY = 60  # to halve by
STEPS_AT_THE_EDGE = 400  # before a day is called too late: a short search misses plans that are just in time


def latest_start(
    snapshot: Snapshot, before: Option, then: Snapshot, after: Option, gifts: Sequence[Gift]
) -> date | None:
    """None where somebody who would be in time without the lesson is late even when it begins now, or a copy of it
    stands nowhere. ``before`` is the plan of ``snapshot``; ``after`` that of ``then``, with the lesson's copies (their
    keys are negative). By halving, since to begin later never helps the lesson; the days after the one found are looked
    at more closely. A plan that serves was found for the day; that none serves on the next is the search's word."""
    if _is_worse(before, after):
        return None
    zone = then.bells.zone
    today = then.now.astimezone(zone).date()

    def serves(days: int, steps: int) -> bool:
        begun = datetime.combine(today + timedelta(days=days), datetime.min.time(), zone)
        return not _is_worse(before, begun_at(begun, snapshot, before, then, after, steps))

    good, bad = 0, (min(gift.deadline for gift in gifts).astimezone(zone).date() - today).days + 1
    last = bad - 1
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if serves(middle, STEPS_OF_A_DAY) else (good, middle)
    while good < last and serves(good + 1, STEPS_AT_THE_EDGE):
        good += 1
    return today + timedelta(days=good)


def begun_at(begun: datetime, snapshot: Snapshot, before: Option, then: Snapshot, after: Option, steps: int) -> Option:
    """The lesson planned when printing begins at that moment, after today."""
    calendar = before.posed.problem.calendar
    minute = calendar.to_minute(begun)
    done = {
        place.copy_id
        for run in before.plan.runs
        if run.setup_start < minute
        for place in before.posed.plates[int(run.plate_id)].places
    }
    left = [
        (laid, figures)
        for laid, figures in zip(after.posed.plates, after.posed.figures, strict=True)
        if not laid.copy_ids <= done
    ]
    waited_for = {then.copies[copy_id].kit_id for laid, _figures in left for copy_id in laid.copy_ids}
    later = replace(
        then,
        now=begun,
        plates=(),  # nothing of what the technicians were shown holds by then
        printers=tuple(_by_then(printer, before, begun, minute) for printer in snapshot.printers),
        kits=tuple(kit for kit in then.kits if kit.id in waited_for),
    )
    layout = LaidOut(tuple(laid for laid, _figures in left), after.misfits)
    stop = Stop(iterations=steps, prove=False)
    return option_of(later, calendar_of(later), KEPT, layout, [figures for _laid, figures in left], stop)


def _by_then(printer: PrinterNow, before: Option, begun: datetime, minute: int) -> PrinterNow:
    """What it prints now has ended; what it is to print then keeps it until that is cleared."""
    calendar = before.posed.problem.calendar
    runs = [run for run in before.plan.runs if run.printer_id == str(printer.id) and run.setup_start < minute]
    free_from = max((run.clear_end for run in runs), default=minute)
    busy = ((begun, calendar.to_datetime(free_from), ""),) if free_from > minute else ()
    return replace(printer, running=None, outages=(*printer.outages, *busy))


def _is_worse(before: Option, other: Option) -> bool:
    """Whether a team is late, or a copy lost, that is not so without the lesson."""
    late_before, late = (
        {kit_id for kit_id, minutes in minutes_late(option.posed.problem, option.plan).items() if minutes > 0}
        for option in (before, other)
    )
    return bool(late - late_before) or other.worth.unplaced > before.worth.unplaced
