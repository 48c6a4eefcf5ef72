"""The same room with one thing different: a spare on every plate, an evening, a printer, a later date, less infill.

Each is a problem of its own, to be planned and forecast like any other.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

from planning.calendar import StaffedDay, with_extra_hours
from planning.material import bars, longest_runs
from planning.types import Pin, PlateJob, PrinterState, Problem


@dataclass(frozen=True, slots=True)
class Lighter:
    """A plate's minutes by printer id, and grams, with other print settings: measured by whoever knows the parts."""

    duration_min: Mapping[str, int]
    grams: float


def with_spares(problem: Problem, no_room: Collection[str] = ()) -> Problem:
    """One more copy on every plate but those in ``no_room``: minutes and grams grow by one copy's share, rounded up.
    A plate that no printer could finish in a day any more stays as it is."""
    longest = longest_runs(problem)
    plates = []
    for plate in problem.plates:
        held = plate.copies + plate.spares
        more = replace(
            plate,
            spares=plate.spares + 1,
            grams=plate.grams * (held + 1) / held,
            duration_min={key: math.ceil(value * (held + 1) / held) for key, value in plate.duration_min.items()},
        )
        fits = len(bars(problem, more, longest)) < len(problem.printers)
        plates.append(more if fits and plate.id not in no_room else plate)
    return replace(problem, plates=tuple(plates))


def with_evening(problem: Problem, day: StaffedDay, minutes: int, staff: int = 1) -> Problem:
    """Staff stay on for that long after the last staffed minute of a day (no longer than the calendar)."""
    end = min(day.end + minutes, problem.calendar.end)
    return replace(problem, calendar=with_extra_hours(problem.calendar, day.end, end, staff))


def with_printer_like(problem: Problem, printer_id: str, name: str = "") -> Problem:
    """One more printer of the same kind, free now, with a new spool of the filament most grams of which are wanted."""
    model = next(printer for printer in problem.printers if printer.id == printer_id)
    taken = {printer.id for printer in problem.printers}
    new_id = f"{printer_id}+"
    while new_id in taken:
        new_id += "+"
    wanted: dict[tuple[str, str], float] = {}
    for plate in problem.plates:
        key = (plate.material, plate.colour)
        wanted[key] = wanted.get(key, 0.0) + plate.grams
    material, colour = max(wanted, key=lambda key: (wanted[key], key), default=(model.material, model.colour))
    printer = PrinterState(
        id=new_id,
        name=name or f"another {model.name}",
        ready_minute=problem.now,
        material=material,
        colour=colour,
        spool_g=problem.rules.new_spool_g,
        may_run_unattended=model.may_run_unattended,
    )

    def also_there(plate: PlateJob) -> PlateJob:
        if printer_id not in plate.duration_min:
            return plate
        return replace(plate, duration_min={**plate.duration_min, new_id: plate.duration_min[printer_id]})

    plates = tuple(also_there(plate) for plate in problem.plates)
    return replace(problem, printers=(*problem.printers, printer), plates=plates)


def with_deadline_later(problem: Problem, kit_ids: Collection[str], days: int) -> Problem:
    """The kits named are due the same time of day, ``days`` staffed days later; the last day there is, if too few."""
    calendar = problem.calendar
    staffed = [day.day for day in calendar.days]

    def later(minute: int) -> int:
        moment = calendar.to_datetime(minute)
        after = [day for day in staffed if day > moment.date()]
        if not after:
            return minute
        to = after[min(days, len(after)) - 1]
        # by the wall clock: aware arithmetic within one time zone keeps the hour
        return min(calendar.end, calendar.to_minute(moment + timedelta(days=(to - moment.date()).days)))

    kits = tuple(
        replace(kit, deadline_minute=later(kit.deadline_minute))
        if kit.id in kit_ids and kit.deadline_minute is not None
        else kit
        for kit in problem.kits
    )
    return replace(problem, kits=kits)


def with_lighter(problem: Problem, lighter: Mapping[str, Lighter]) -> Problem:
    """The plates named take the minutes and grams given; a printer not named for a plate cannot print it."""
    plates = tuple(
        replace(plate, duration_min=dict(lighter[plate.id].duration_min), grams=lighter[plate.id].grams)
        if plate.id in lighter
        else plate
        for plate in problem.plates
    )
    return replace(problem, plates=plates)


def without_pin(problem: Problem, plate_id: str) -> Problem:
    """The plate may go anywhere at any time."""
    plates = tuple(replace(plate, pin=Pin()) if plate.id == plate_id else plate for plate in problem.plates)
    return replace(problem, plates=plates)
