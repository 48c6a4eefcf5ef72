"""Which printer can take which plate, and why not; grams as whole milligrams.

Grams are counted in whole milligrams, rounded up for a plate and down for a spool: a spool is never overdrawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from planning.calendar import Calendar
from planning.types import PlateJob, PrinterState, Problem, RoomRules
from telling import chained, told


def hours(minutes: float) -> str:
    """``95`` -> ``1 h 35 min``."""
    whole, rest = divmod(round(minutes), 60)
    return told("{hours} h {minutes:02d} min" if whole else "{minutes} min", hours=whole, minutes=rest)


def spool_mg(grams: float) -> int:
    """Milligrams that are surely there."""
    return math.floor(grams * 1000 + 1e-6)


def plate_mg(grams: float) -> int:
    """Milligrams that are surely enough."""
    return math.ceil(grams * 1000 - 1e-6)


def longest_run_min(calendar: Calendar, rules: RoomRules, printer: PrinterState) -> int:
    """The longest print that fits any staffed day of the calendar on that printer (its whole length if unattended)."""
    unattended = rules.unattended_allowed and printer.may_run_unattended
    longest = 0
    for day in calendar.days:
        end = day.end
        if unattended:
            end = calendar.end if day.unattended_until is None else max(day.end, day.unattended_until)
        longest = max(longest, min(end, calendar.end) - day.start - rules.start_min)
    return longest


def longest_runs(problem: Problem) -> dict[str, int]:
    """Printer id -> the longest print, in minutes, it can take in any of these days."""
    return {printer.id: longest_run_min(problem.calendar, problem.rules, printer) for printer in problem.printers}


def all_bars(problem: Problem) -> dict[str, dict[str, str]]:
    """Plate id -> ``bars`` of that plate."""
    longest = longest_runs(problem)
    return {plate.id: bars(problem, plate, longest) for plate in problem.plates}


def bars(problem: Problem, plate: PlateJob, longest_min: Mapping[str, int]) -> dict[str, str]:
    """Why each printer cannot take the plate, by printer id, for those that cannot. The sentences name the printer.

    ``longest_min``: ``longest_runs(problem)``.
    """
    fits_all_day = max(plate.duration_min.values(), default=0) <= min(longest_min.values(), default=0)
    if plate.pin.printer_id is None and fits_all_day and plate.grams <= problem.rules.new_spool_g:
        doubtful = [printer for printer in problem.printers if printer.id not in plate.duration_min]
    else:
        doubtful = list(problem.printers)
    found = {}
    for printer in sorted(doubtful, key=lambda printer: printer.id):
        reason = _bar(problem, plate, printer, longest_min[printer.id])
        if reason is not None:
            found[printer.id] = reason
    return found


def _bar(problem: Problem, plate: PlateJob, printer: PrinterState, longest: int) -> str | None:
    """Why that printer cannot take the plate; None when it can."""
    minutes = plate.duration_min.get(printer.id)
    loaded = (printer.material, printer.colour) == (plate.material, plate.colour)
    holds = max(problem.rules.new_spool_g, printer.spool_g if loaded else 0.0)
    if minutes is None:
        why = plate.barred.get(printer.id)
        return told("{printer} {why}", printer=printer.name, why=told("cannot print it") if why is None else why)
    if plate.pin.printer_id not in (None, printer.id):
        return told("{printer} is not the printer it is pinned to", printer=printer.name)
    if minutes > longest:
        much = {"printing": hours(minutes), "longest": hours(longest)}
        text = "{printer} would print {printing}, but its longest run in these days is {longest}"
        return told(text, printer=printer.name, **much)
    if plate.grams > holds:
        text = "{printer} would need {need:.0f} g, but a spool holds {holds:.0f} g"
        return told(text, printer=printer.name, need=plate.grams, holds=holds)
    return None


def why_not(problem: Problem, barred: Mapping[str, str]) -> str | None:
    """Why no printer at all can take a plate with these ``bars``; None when one can."""
    if len(barred) < len(problem.printers):
        return None
    if not problem.printers:
        return told("There is no printer in the room.")
    return told("{reasons}.", reasons=chained(list(barred.values()), "{first}; {rest}"))
