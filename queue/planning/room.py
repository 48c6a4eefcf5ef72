"""The problem as arrays: what the compiled decoder reads, and the ids to translate its answer back.

Plates, printers and kits are sorted by id first, so that the plan does not depend on the order of the input.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.bits import Ints, Words
from planning.calendar import Calendar
from planning.material import all_bars, plate_mg, spool_mg, why_not
from planning.pins import Settled, settle
from planning.types import Kit, PlannedClear, PlateJob, PrinterState, Problem, Unplaced
from telling import told

Longs = NDArray[np.int64]
Records = NDArray[np.void]

NEVER = 2**31 - 1
NOTHING_TO_DO = -(2**30)
AFTER_LOST = "It is pinned after plate {plate}, which cannot be placed."
START_MIN, SWAP_MIN, CLEAR_MIN, NEW_SPOOL_MG, NOW, HORIZON, TOLERANCE_MIN = range(7)

PRINTER = np.dtype(
    [
        ("ready", np.int64),  # first minute it can be set up; the horizon if never
        ("loaded", np.int64),  # filament number, -1 none of those wanted
        ("spool_mg", np.int64),
        ("unattended", np.int64),  # row of Room.ends: 1 if its runs may go on without staff
        ("next_pin", np.int64),  # slice of Room.pin_plate, by minute
        ("last_pin", np.int64),
        ("first_outage", np.int64),  # slice of Room.outages
        ("last_outage", np.int64),
    ]
)
PLATE = np.dtype(
    [
        ("cool", np.int64),
        ("filament", np.int64),
        ("grams_mg", np.int64),
        ("first_kit", np.int64),  # slice of Room.kit_of
        ("last_kit", np.int64),
        ("first_after", np.int64),  # slice of Room.after: plates whose set-up comes first
        ("last_after", np.int64),
        ("latest_setup", np.int64),  # last minute a set-up may begin
        ("pin_setup", np.int64),  # minute of a fixed set-up, -1 free
        ("pin_clear", np.int64),  # minute its clearing is booked for
        ("pin_swap", np.int64),  # 1 if time for a swap is set aside
        ("published_printer", np.int64),  # -1 none that counts
        ("published_setup", np.int64),
    ]
)
KIT = np.dtype(
    [
        ("deadline", np.int64),  # NEVER without
        ("weight", np.int64),
        ("served", np.int64),  # when what is not among the plates is there; the horizon: never, NOTHING_TO_DO: now
    ]
)


class Room(NamedTuple):
    """Read-only arrays of one problem; n plates, m printers, g kits, w words of minutes.

    Records keep the number of arrays small: each array costs the compiler time in every function it is passed to.
    """

    busy: Words  # (w,) no technician free: nobody there, or all booked by what is fixed; see planning.bits
    planes: NDArray[np.uint64]  # (levels, w)
    staff: NDArray[np.uint64]  # (levels, w)
    skip: Ints  # (w,)
    ends: Ints  # (2, horizon) latest end of a run set up in a minute, attended and not; 0 outside staffed days
    printers: Records  # (m,) PRINTER
    outages: Longs  # (k, 2) start, end
    plates: Records  # (n,) PLATE
    duration: Ints  # (n, m) minutes, 0 where the plate cannot be printed
    kit_of: Longs
    after: Longs
    pin_plate: Longs
    kits: Records  # (g,) KIT
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
    barred = all_bars(problem)
    settled = settle(problem, barred)
    unplaced = {note.plate_id: note for note in settled.unplaced}
    for plate in problem.plates:
        if reason := why_not(problem, barred[plate.id]):
            unplaced[plate.id] = Unplaced(plate.id, reason)
    order = _in_order(problem.plates, unplaced)
    plates = tuple(sorted(order, key=lambda plate: plate.id))
    diary = settled.diary
    plate_records, duration = _plate_records(problem, printers, plates, barred)
    printer_records, outages = _printer_records(problem, printers, plates, settled)
    room = Room(
        busy=diary.busy,
        planes=diary.planes,
        staff=diary.staff,
        skip=diary.skip,
        ends=_ends(problem.calendar),
        printers=printer_records,
        outages=outages,
        plates=plate_records,
        duration=duration,
        kit_of=_slices(plate_records, "kit", _kits_of(plates, kits)),
        after=_add_order(plate_records, plates, order, settled, problem.calendar.end),
        pin_plate=_add_pins(printer_records, plate_records, printers, plates, settled),
        kits=_kit_records(problem, kits, settled, unplaced),
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
                unplaced[plate.id] = Unplaced(plate.id, told(AFTER_LOST, plate=lost))
            elif seen.issuperset(before):
                done.append(plate)
                seen.add(plate.id)
            else:
                rest.append(plate)
        if len(rest) == len(left):
            reason = told("The pinned order of these plates goes round in a circle.")
            unplaced.update({plate.id: Unplaced(plate.id, reason) for plate in rest})
            break
        left = rest
    return done


def _slices(records: Records, name: str, lists: Sequence[Sequence[int]]) -> Longs:
    """All lists one after the other; each record gets ``first_`` and ``last_`` of its own."""
    bounds = np.zeros(len(lists) + 1, np.int64)
    bounds[1:] = np.cumsum([len(row) for row in lists])
    records[f"first_{name}" if name != "pin" else "next_pin"] = bounds[:-1]
    records[f"last_{name}"] = bounds[1:]
    return np.array([value for row in lists for value in row], np.int64)


def _ends(calendar: Calendar) -> Ints:
    ends = np.zeros((2, calendar.end), np.int32)
    for day in calendar.days:
        until = calendar.end if day.unattended_until is None else max(day.end, day.unattended_until)
        ends[0, day.start : day.end] = day.end
        ends[1, day.start : day.end] = min(until, calendar.end)
    return ends


def _printer_records(
    problem: Problem, printers: tuple[PrinterState, ...], plates: tuple[PlateJob, ...], settled: Settled
) -> tuple[Records, Longs]:
    numbers = filaments(plates)
    horizon = problem.calendar.end
    ready = [settled.ready[printer.id] for printer in printers]
    records = np.zeros(len(printers), PRINTER)
    records["ready"] = [horizon if minute is None else min(minute, horizon) for minute in ready]
    records["loaded"] = [numbers.get((printer.material, printer.colour), -1) for printer in printers]
    records["spool_mg"] = [spool_mg(printer.spool_g) for printer in printers]
    records["unattended"] = [problem.rules.unattended_allowed and printer.may_run_unattended for printer in printers]
    starts = _slices(records, "outage", [[outage.start for outage in printer.outages] for printer in printers])
    ends = _slices(records, "outage", [[outage.end for outage in printer.outages] for printer in printers])
    return records, np.ascontiguousarray(np.stack([starts, ends], axis=1))


def _plate_records(
    problem: Problem,
    printers: tuple[PrinterState, ...],
    plates: tuple[PlateJob, ...],
    barred: Mapping[str, Mapping[str, str]],
) -> tuple[Records, Ints]:
    numbers = filaments(plates)
    column = {printer.id: index for index, printer in enumerate(printers)}
    records = np.zeros(len(plates), PLATE)
    duration = np.zeros((len(plates), len(printers)), np.int32)
    records["cool"] = [plate.cool_min for plate in plates]
    records["filament"] = [numbers[plate.material, plate.colour] for plate in plates]
    records["grams_mg"] = [plate_mg(plate.grams) for plate in plates]
    records["published_printer"] = -1
    for row, plate in enumerate(plates):
        for printer_id, minutes in plate.duration_min.items():
            if printer_id in column and printer_id not in barred[plate.id]:
                duration[row, column[printer_id]] = minutes
        start = plate.published_setup_start
        if start is not None and start < problem.now + problem.rules.published_min:
            records[row]["published_printer"] = column.get(plate.published_printer_id or "", len(printers))
            records[row]["published_setup"] = start
    return records, duration


def _kits_of(plates: tuple[PlateJob, ...], kits: tuple[Kit, ...]) -> list[list[int]]:
    column = {kit.id: index for index, kit in enumerate(kits)}
    return [sorted({column[kit_id] for kit_id in plate.kit_ids}) for plate in plates]


def _add_pins(
    printer_records: Records,
    plate_records: Records,
    printers: tuple[PrinterState, ...],
    plates: tuple[PlateJob, ...],
    settled: Settled,
) -> Longs:
    """Fixed runs in the records; the plates fixed on each printer, by minute."""
    row = {plate.id: index for index, plate in enumerate(plates)}
    fixed = [each for each in settled.fixed if each.plate.id in row]
    plate_records["pin_setup"] = -1
    for each in fixed:
        record = plate_records[row[each.plate.id]]
        record["pin_setup"], record["pin_clear"], record["pin_swap"] = each.setup_start, each.clear_start, each.swap
    on_printer = [[row[each.plate.id] for each in fixed if each.printer_id == printer.id] for printer in printers]
    return _slices(printer_records, "pin", on_printer)


def _add_order(
    records: Records, plates: tuple[PlateJob, ...], order: list[PlateJob], settled: Settled, horizon: int
) -> Longs:
    """Pinned orders, and the last minute each plate may be set up so that a fixed one after it can begin."""
    row = {plate.id: index for index, plate in enumerate(plates)}
    latest = np.full(len(plates), horizon, np.int64)
    for each in settled.fixed:
        if each.plate.id in row:
            latest[row[each.plate.id]] = each.setup_start
    after = [[row[before] for before in plate.pin.after_plate_ids if before in row] for plate in plates]
    for plate in reversed(order):
        for before in after[row[plate.id]]:
            latest[before] = min(latest[before], latest[row[plate.id]])
    records["latest_setup"] = latest
    return _slices(records, "after", after)


def _kit_records(problem: Problem, kits: tuple[Kit, ...], settled: Settled, unplaced: dict[str, Unplaced]) -> Records:
    horizon = problem.calendar.end
    column = {kit.id: index for index, kit in enumerate(kits)}
    records = np.zeros(len(kits), KIT)
    records["deadline"] = [NEVER if kit.deadline_minute is None else kit.deadline_minute for kit in kits]
    records["weight"] = [kit.weight for kit in kits]
    served = np.full(len(kits), NOTHING_TO_DO, np.int64)
    clear_end = {clear.printer_id: clear.clear_end for clear in settled.clears}
    for printer in problem.printers:
        for kit_id in printer.running_kit_ids if printer.running else ():
            if kit_id in column:
                served[column[kit_id]] = max(served[column[kit_id]], clear_end.get(printer.id, horizon))
    for plate in problem.plates:
        if plate.id in unplaced:
            served[[column[kit_id] for kit_id in plate.kit_ids]] = horizon
    records["served"] = served
    return records


def _numbers(problem: Problem) -> Longs:
    rules = problem.rules
    numbers = np.zeros(7, np.int64)
    numbers[START_MIN], numbers[SWAP_MIN], numbers[CLEAR_MIN] = rules.start_min, rules.swap_min, rules.clear_min
    numbers[NEW_SPOOL_MG] = spool_mg(rules.new_spool_g)
    numbers[NOW], numbers[HORIZON] = problem.now, problem.calendar.end
    numbers[TOLERANCE_MIN] = rules.change_tolerance_min
    return numbers
