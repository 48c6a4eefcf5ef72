"""The problem as arrays: what the compiled decoder reads, and the ids to translate its answer back.

Plates, printers and kits are sorted by id first, so that the plan does not depend on the order of the input.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.bits import Ints, Words
from planning.calendar import Calendar
from planning.material import bars, plate_mg, spool_mg, why_not
from planning.pins import Settled, settle
from planning.types import Kit, PlannedClear, PlateJob, PrinterState, Problem, Unplaced

Longs = NDArray[np.int64]
Flags = NDArray[np.bool_]

Arrays = dict[str, Any]

NEVER = 2**31 - 1
NOTHING_TO_DO = -(2**30)
START_MIN, SWAP_MIN, CLEAR_MIN, NEW_SPOOL_MG, NOW, HORIZON, TOLERANCE_MIN = range(7)


class Room(NamedTuple):
    """Read-only arrays of one problem; n plates, m printers, g kits, w words of minutes. Minutes are int32."""

    busy: Words  # (w,) no technician free: nobody there, or all booked by what is fixed; see planning.bits
    planes: NDArray[np.uint64]  # (levels, w)
    staff: NDArray[np.uint64]  # (levels, w)
    skip: Ints  # (w,)
    day_end: Ints  # (horizon,) end of the staffed day around a minute, 0 outside
    unattended_end: Ints  # (horizon,) latest end of a run that may go on without staff
    ready: Ints  # (m,) first minute a printer can be set up; the horizon if never
    unattended: Flags  # (m,)
    loaded: Ints  # (m,) filament number on the printer, -1 none of those wanted
    spool_mg: Longs  # (m,)
    outage_from: Ints  # (m + 1,) slices of outage_start and outage_end
    outage_start: Ints
    outage_end: Ints
    duration: Ints  # (n, m) minutes, 0 where the plate cannot be printed
    cool: Ints  # (n,)
    filament: Ints  # (n,)
    grams_mg: Longs  # (n,)
    kit_from: Ints  # (n + 1,) slices of kit_of
    kit_of: Ints
    after_from: Ints  # (n + 1,) slices of after: plates whose set-up comes first
    after: Ints
    latest_setup: Ints  # (n,) last minute a set-up may begin
    pin_setup: Ints  # (n,) minute of a fixed set-up, -1 free
    pin_clear: Ints  # (n,) minute its clearing is booked for
    pin_swap: Flags  # (n,) whether time for a swap is set aside
    pin_from: Ints  # (m + 1,) slices of pin_plate, by minute
    pin_plate: Ints
    published_printer: Ints  # (n,) -1 none that counts
    published_setup: Ints  # (n,)
    deadline: Ints  # (g,) NEVER without
    weight: Longs  # (g,)
    served: Ints  # (g,) when what is not among the plates is there; the horizon: never, NOTHING_TO_DO: now
    numbers: Longs  # (7,) indexed by START_MIN ... TOLERANCE_MIN


@dataclass(frozen=True, slots=True)
class Compiled:
    """The arrays, what their indices mean, and what was settled before any search."""

    room: Room
    plates: tuple[PlateJob, ...]
    printers: tuple[PrinterState, ...]
    kits: tuple[Kit, ...]
    clears: tuple[PlannedClear, ...]
    unplaced: tuple[Unplaced, ...]
    released: tuple[Unplaced, ...]


def compile_problem(problem: Problem) -> Compiled:
    """Sort, settle what is fixed, leave out what no printer can take, and lay everything out in arrays."""
    printers = tuple(sorted(problem.printers, key=lambda printer: printer.id))
    kits = tuple(sorted(problem.kits, key=lambda kit: kit.id))
    settled = settle(problem)
    unplaced = {note.plate_id: note for note in settled.unplaced}
    for plate in problem.plates:
        if reason := why_not(problem, plate):
            unplaced[plate.id] = Unplaced(plate.id, reason)
    order = _in_order(problem.plates, unplaced)
    plates = tuple(sorted(order, key=lambda plate: plate.id))
    room = Room(
        **_time_arrays(problem.calendar, settled),
        **_printer_arrays(problem, printers, plates, settled),
        **_plate_arrays(problem, printers, plates),
        **_pin_arrays(printers, plates, order, settled, problem.calendar.end),
        **_kit_arrays(problem, kits, plates, settled, unplaced),
        numbers=_numbers(problem),
    )
    notes = tuple(unplaced[plate_id] for plate_id in sorted(unplaced))
    return Compiled(room, plates, printers, kits, tuple(settled.clears), notes, tuple(settled.released))


def filaments(plates: Iterable[PlateJob]) -> dict[tuple[str, str], int]:
    """A number for each material and colour, in alphabetical order."""
    keys = sorted({(plate.material, plate.colour) for plate in plates})
    return {key: number for number, key in enumerate(keys)}


def _in_order(plates: Sequence[PlateJob], unplaced: dict[str, Unplaced]) -> list[PlateJob]:
    """Plates that can be placed, each after those its pin names; the others go to ``unplaced`` with the reason."""
    known = {plate.id for plate in plates}
    left = sorted(plates, key=lambda plate: plate.id)
    done: list[PlateJob] = []
    seen: set[str] = set()
    while left:
        rest = []
        for plate in left:
            before = [each for each in plate.pin.after_plate_ids if each in known]
            lost = next((each for each in before if each in unplaced), None)
            if plate.id in unplaced:
                continue
            if lost is not None:
                unplaced[plate.id] = Unplaced(plate.id, f"It is pinned after plate {lost}, which cannot be placed.")
            elif seen.issuperset(before):
                done.append(plate)
                seen.add(plate.id)
            else:
                rest.append(plate)
        if len(rest) == len(left):
            for plate in rest:
                unplaced[plate.id] = Unplaced(plate.id, "The pinned order of these plates goes round in a circle.")
            break
        left = rest
    return done


def _slices(lists: Iterable[Sequence[int]]) -> tuple[Ints, Ints]:
    rows = list(lists)
    starts = np.zeros(len(rows) + 1, np.int32)
    starts[1:] = np.cumsum([len(row) for row in rows])
    return starts, np.array([value for row in rows for value in row], np.int32)


def _time_arrays(calendar: Calendar, settled: Settled) -> Arrays:
    day_end = np.zeros(calendar.end, np.int32)
    unattended_end = np.zeros(calendar.end, np.int32)
    for day in calendar.days:
        day_end[day.start : day.end] = day.end
        until = calendar.end if day.unattended_until is None else max(day.end, day.unattended_until)
        unattended_end[day.start : day.end] = min(until, calendar.end)
    diary = settled.diary
    return {
        "busy": diary.busy,
        "planes": diary.planes,
        "staff": diary.staff,
        "skip": diary.skip,
        "day_end": day_end,
        "unattended_end": unattended_end,
    }


def _printer_arrays(
    problem: Problem, printers: tuple[PrinterState, ...], plates: tuple[PlateJob, ...], settled: Settled
) -> Arrays:
    numbers = filaments(plates)
    horizon = problem.calendar.end
    ready = [settled.ready[printer.id] for printer in printers]
    outage_from, outage_start = _slices([outage.start for outage in printer.outages] for printer in printers)
    _, outage_end = _slices([outage.end for outage in printer.outages] for printer in printers)
    allowed = problem.rules.unattended_allowed
    return {
        "ready": np.array([horizon if minute is None else min(minute, horizon) for minute in ready], np.int32),
        "unattended": np.array([allowed and printer.may_run_unattended for printer in printers], np.bool_),
        "loaded": np.array([numbers.get((printer.material, printer.colour), -1) for printer in printers], np.int32),
        "spool_mg": np.array([spool_mg(printer.spool_g) for printer in printers], np.int64),
        "outage_from": outage_from,
        "outage_start": outage_start,
        "outage_end": outage_end,
    }


def _plate_arrays(problem: Problem, printers: tuple[PrinterState, ...], plates: tuple[PlateJob, ...]) -> Arrays:
    numbers = filaments(plates)
    column = {printer.id: index for index, printer in enumerate(printers)}
    duration = np.zeros((len(plates), len(printers)), np.int32)
    published_printer = np.full(len(plates), -1, np.int32)
    published_setup = np.zeros(len(plates), np.int32)
    for row, plate in enumerate(plates):
        barred = bars(problem, plate)
        for printer_id, minutes in plate.duration_min.items():
            if printer_id in column and printer_id not in barred:
                duration[row, column[printer_id]] = minutes
        start = plate.published_setup_start
        if start is not None and start < problem.now + problem.rules.published_min:
            published_printer[row] = column.get(plate.published_printer_id or "", len(printers))
            published_setup[row] = start
    return {
        "duration": duration,
        "cool": np.array([plate.cool_min for plate in plates], np.int32),
        "filament": np.array([numbers[plate.material, plate.colour] for plate in plates], np.int32),
        "grams_mg": np.array([plate_mg(plate.grams) for plate in plates], np.int64),
        "published_printer": published_printer,
        "published_setup": published_setup,
    }


def _pin_arrays(
    printers: tuple[PrinterState, ...],
    plates: tuple[PlateJob, ...],
    order: list[PlateJob],
    settled: Settled,
    horizon: int,
) -> Arrays:
    row = {plate.id: index for index, plate in enumerate(plates)}
    pin_setup = np.full(len(plates), -1, np.int32)
    pin_clear = np.zeros(len(plates), np.int32)
    pin_swap = np.zeros(len(plates), np.bool_)
    latest = np.full(len(plates), horizon, np.int32)
    fixed = [each for each in settled.fixed if each.plate.id in row]
    for each in fixed:
        index = row[each.plate.id]
        pin_setup[index], pin_clear[index], pin_swap[index] = each.setup_start, each.clear_start, each.swap
        latest[index] = each.setup_start
    after = {p.id: [row[before] for before in p.pin.after_plate_ids if before in row] for p in plates}
    for plate in reversed(order):
        for before in after[plate.id]:
            latest[before] = min(latest[before], latest[row[plate.id]])
    after_from, after_plate = _slices(after[plate.id] for plate in plates)
    pin_from, pin_plate = _slices([row[e.plate.id] for e in fixed if e.printer_id == p.id] for p in printers)
    return {
        "after_from": after_from,
        "after": after_plate,
        "latest_setup": latest,
        "pin_setup": pin_setup,
        "pin_clear": pin_clear,
        "pin_swap": pin_swap,
        "pin_from": pin_from,
        "pin_plate": pin_plate,
    }


def _kit_arrays(
    problem: Problem,
    kits: tuple[Kit, ...],
    plates: tuple[PlateJob, ...],
    settled: Settled,
    unplaced: dict[str, Unplaced],
) -> Arrays:
    horizon = problem.calendar.end
    column = {kit.id: index for index, kit in enumerate(kits)}
    served = np.full(len(kits), NOTHING_TO_DO, np.int32)
    clear_end = {clear.printer_id: clear.clear_end for clear in settled.clears}
    for printer in problem.printers:
        for kit_id in printer.running_kit_ids if printer.running else ():
            if kit_id in column:
                served[column[kit_id]] = max(served[column[kit_id]], clear_end.get(printer.id, horizon))
    for plate in problem.plates:
        if plate.id in unplaced:
            served[[column[kit_id] for kit_id in plate.kit_ids]] = horizon
    kit_from, kit_of = _slices(sorted({column[kit_id] for kit_id in plate.kit_ids}) for plate in plates)
    due = [NEVER if kit.deadline_minute is None else kit.deadline_minute for kit in kits]
    return {
        "kit_from": kit_from,
        "kit_of": kit_of,
        "deadline": np.array(due, np.int32),
        "weight": np.array([kit.weight for kit in kits], np.int64),
        "served": served,
    }


def _numbers(problem: Problem) -> Longs:
    rules = problem.rules
    numbers = np.zeros(7, np.int64)
    numbers[START_MIN], numbers[SWAP_MIN], numbers[CLEAR_MIN] = rules.start_min, rules.swap_min, rules.clear_min
    numbers[NEW_SPOOL_MG] = spool_mg(rules.new_spool_g)
    numbers[NOW], numbers[HORIZON] = problem.now, problem.calendar.end
    numbers[TOLERANCE_MIN] = rules.change_tolerance_min
    return numbers
