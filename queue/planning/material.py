"""Which printer can take which plate, and why not; grams as whole milligrams.

Grams are counted in whole milligrams, rounded up for a plate and down for a spool: a spool is never overdrawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from planning.calendar import Calendar
from planning.types import PlateJob, PrinterState, Problem, RoomRules


def hours(minutes: float) -> str:
    """``95`` -> ``1 h 35 min``."""
    whole, rest = divmod(round(minutes), 60)
    return f"{whole} h {rest:02d} min" if whole else f"{rest} min"


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
    rules, found = problem.rules, {}
    for printer in sorted(problem.printers, key=lambda printer: printer.id):
        minutes = plate.duration_min.get(printer.id)
        longest = longest_min[printer.id]
        loaded = (printer.material, printer.colour) == (plate.material, plate.colour)
        holds = max(rules.new_spool_g, printer.spool_g if loaded else 0.0)
        if minutes is None:
            found[printer.id] = f"{printer.name} {plate.barred.get(printer.id, 'cannot print it')}"
        elif plate.pin.printer_id not in (None, printer.id):
            found[printer.id] = f"{printer.name} is not the printer it is pinned to"
        elif minutes > longest:
            found[printer.id] = (
                f"{printer.name} would print {hours(minutes)}, but its longest run in these days is {hours(longest)}"
            )
        elif plate.grams > holds:
            found[printer.id] = f"{printer.name} would need {plate.grams:.0f} g, but a spool holds {holds:.0f} g"
    return found


def why_not(problem: Problem, barred: Mapping[str, str]) -> str | None:
    """Why no printer at all can take a plate with these ``bars``; None when one can."""
    if len(barred) < len(problem.printers):
        return None
    if not problem.printers:
        return "There is no printer in the room."
    return "; ".join(barred.values()) + "."
