"""What is settled before any search: clears of running prints, pinned starts, and starts too near to move.

These are booked in the technicians' diary first; the decoder plans everything else around them. A start that cannot
hold is not forced: a teacher's pin leaves the plate unplaced with the reason, a published start is released.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from planning.bits import ALL, Ints, Words, book, first_free
from planning.calendar import Calendar
from planning.material import plate_mg, spool_mg, why_not
from planning.types import PlannedClear, PlateJob, PrinterState, Problem, RoomRules, Unplaced
from telling import told


@dataclass(slots=True)
class Diary:
    """The technicians' time while it is being filled; see ``planning.bits``."""

    busy: Words
    planes: NDArray[np.uint64]
    staff: NDArray[np.uint64]
    skip: Ints
    horizon: int
    shortest: int

    def is_free(self, start: int, length: int) -> bool:
        """Whether one person is free in ``[start, start + length)``."""
        if not 0 <= start < self.horizon:
            return False
        return int(first_free(self.busy, self.skip, start, max(length, 1), start + 1)) == start

    def next_free(self, minute: int, length: int) -> int | None:
        """The first minute from ``minute`` with ``length`` free minutes in a row, or None."""
        if minute >= self.horizon:
            return None
        found = int(first_free(self.busy, self.skip, minute, max(length, 1), self.horizon))
        return found if found < self.horizon else None

    def book(self, start: int, length: int) -> None:
        """One person is taken for ``length`` minutes."""
        book(self.busy, self.planes, self.staff, self.skip, start, start + length, self.shortest)


def _words(bits: NDArray[np.bool_], words: int) -> Words:
    padded = np.zeros(words * 64, np.bool_)
    padded[: len(bits)] = bits
    return np.packbits(padded, bitorder="little").view(np.uint64)


def empty_diary(calendar: Calendar, now: int, shortest: int) -> Diary:
    """Nobody is booked yet; minutes before ``now`` and unstaffed minutes are busy. ``shortest``: see ``book``."""
    count = np.zeros(calendar.end, np.int64)
    for part in calendar.staffed:
        count[part.start : part.end] = part.staff
    count[: max(now, 0)] = 0
    words = calendar.end // 64 + 2
    levels = int(count.max(initial=1)) or 1
    staff = np.stack([_words(count == level + 1, words) for level in range(levels)])
    busy = ~_words(count > 0, words)
    skip = np.arange(words, dtype=np.int32)
    full = busy == ALL
    full[-1] = False
    skip = np.minimum.accumulate(np.where(full, words - 1, skip)[::-1])[::-1].astype(np.int32)
    return Diary(busy, np.zeros((levels, words), np.uint64), staff, skip, calendar.end, shortest)


@dataclass(slots=True)
class Fixed:
    """A run whose printer and set-up are settled."""

    plate: PlateJob
    printer_id: str
    setup_start: int
    frozen: bool
    swap: bool = False
    clear_start: int = 0


@dataclass(slots=True)
class Settled:
    """The diary with everything fixed in it. ``ready``: printer id -> first minute it can be set up (None: never)."""

    diary: Diary
    ready: dict[str, int | None]
    clears: list[PlannedClear] = field(default_factory=list)
    fixed: list[Fixed] = field(default_factory=list)
    unplaced: list[Unplaced] = field(default_factory=list)
    released: list[Unplaced] = field(default_factory=list)


def settle(problem: Problem, barred: Mapping[str, Mapping[str, str]]) -> Settled:
    """Book what cannot move. Whatever turns out not to hold is taken out and the rest is booked afresh.

    ``barred``: ``all_bars(problem)``.
    """
    wanted, refused = _wanted(problem, barred)
    while True:
        settled, failed = _attempt(problem, wanted)
        if failed is None:
            break
        fixed, reason = failed
        wanted = [other for other in wanted if other is not fixed]
        refused.append((fixed, reason))
    for fixed, reason in refused:
        note = Unplaced(fixed.plate.id, reason)
        (settled.released if fixed.frozen else settled.unplaced).append(note)
    return settled


def _wanted(problem: Problem, barred: Mapping[str, Mapping[str, str]]) -> tuple[list[Fixed], list[tuple[Fixed, str]]]:
    """Pinned and frozen runs by minute; and those that cannot even be tried, with the reason."""
    names = {printer.id: printer.name for printer in problem.printers}
    wanted: list[Fixed] = []
    refused: list[tuple[Fixed, str]] = []
    for plate in sorted(problem.plates, key=lambda plate: plate.id):
        if why_not(problem, barred[plate.id]) is not None:
            continue
        fixed = _fixed_of(problem, plate)
        if fixed is None:
            continue
        if fixed.setup_start < problem.now:
            refused.append((fixed, told("Its start has passed and it was not started.")))
        elif fixed.printer_id not in names or fixed.printer_id not in plate.duration_min:
            name = names.get(fixed.printer_id)
            text = "Its printer cannot print it now." if name is None else "{printer} cannot print it now."
            refused.append((fixed, told(text, printer=name)))
        else:
            wanted.append(fixed)
    start_of = {fixed.plate.id: fixed.setup_start for fixed in wanted}
    for fixed in list(wanted):
        if any(start_of.get(before, -1) > fixed.setup_start for before in fixed.plate.pin.after_plate_ids):
            wanted.remove(fixed)
            refused.append((fixed, told("It is pinned after a plate that is pinned to start later.")))
    return sorted(wanted, key=lambda fixed: (fixed.setup_start, fixed.plate.id)), refused


def _fixed_of(problem: Problem, plate: PlateJob) -> Fixed | None:
    if plate.pin.setup_start is not None:
        printer_id = plate.pin.printer_id or plate.published_printer_id
        if printer_id is None or printer_id not in plate.duration_min:
            printer_id = min(plate.duration_min, key=lambda each: (plate.duration_min[each], each))
        return Fixed(plate, printer_id, plate.pin.setup_start, frozen=False)
    start = plate.published_setup_start
    if start is None or plate.published_printer_id is None or start >= problem.now + problem.rules.frozen_min:
        return None
    if plate.pin.printer_id not in (None, plate.published_printer_id):
        return None
    return Fixed(plate, plate.published_printer_id, start, frozen=True)


def _attempt(problem: Problem, wanted: list[Fixed]) -> tuple[Settled, tuple[Fixed, str] | None]:
    """Book set-ups, then clears in the order they become possible; the first run that cannot hold, with the reason."""
    rules, calendar = problem.rules, problem.calendar
    diary = empty_diary(calendar, problem.now, max(1, min(rules.start_min, rules.clear_min)))
    printers = {printer.id: printer for printer in problem.printers}
    settled = Settled(diary, {p.id: max(p.ready_minute, problem.now) for p in problem.printers}, fixed=wanted)
    loaded = {p.id: ((p.material, p.colour), spool_mg(p.spool_g)) for p in problem.printers}
    to_clear: list[tuple[int, str, Fixed | None]] = [
        (settled.ready[p.id] or 0, p.id, None) for p in problem.printers if p.running
    ]
    for fixed in wanted:
        printer = printers[fixed.printer_id]
        _load(fixed, loaded, rules)
        problem_found = _refusal(fixed, printer, diary, problem)
        if problem_found:
            return settled, (fixed, problem_found)
        length = rules.start_min + rules.swap_min * fixed.swap
        diary.book(fixed.setup_start, length)
        end = fixed.setup_start + length + fixed.plate.duration_min[printer.id]
        to_clear.append((end + fixed.plate.cool_min, printer.id, fixed))
    for ready, printer_id, each in sorted(to_clear, key=lambda entry: entry[:2]):
        at = diary.next_free(ready, rules.clear_min)
        if at is None:
            if each is not None:
                return settled, (each, told("Nobody would be there to clear it before the calendar ends."))
            settled.ready[printer_id] = None
            plate_id = printers[printer_id].running_plate_id or printer_id
            text = "Nobody is there to clear {printer} before the calendar ends."
            reason = told(text, printer=printers[printer_id].name)
            settled.unplaced.append(Unplaced(plate_id, reason))
            continue
        diary.book(at, rules.clear_min)
        if each is None:
            settled.ready[printer_id] = at + rules.clear_min
            settled.clears.append(PlannedClear(printer_id, at, at + rules.clear_min))
        else:
            each.clear_start = at
    return settled, _clash(settled, printers, rules)


def _load(fixed: Fixed, loaded: dict[str, tuple[tuple[str, str], int]], rules: RoomRules) -> None:
    """Whether the run needs a swap if only fixed runs stand before it on its printer; the spool after it."""
    key = (fixed.plate.material, fixed.plate.colour)
    spool, left = loaded[fixed.printer_id]
    need = plate_mg(fixed.plate.grams)
    fixed.swap = spool != key or left < need
    loaded[fixed.printer_id] = (key, (spool_mg(rules.new_spool_g) if fixed.swap else left) - need)


def _refusal(fixed: Fixed, printer: PrinterState, diary: Diary, problem: Problem) -> str | None:
    """Why the run cannot be set up at its minute, whatever else is planned."""
    rules, calendar, start = problem.rules, problem.calendar, fixed.setup_start
    length = rules.start_min + rules.swap_min * fixed.swap
    end = start + length + fixed.plate.duration_min[printer.id]
    if fixed.swap and plate_mg(fixed.plate.grams) > spool_mg(rules.new_spool_g):
        text = "It needs {need:.0f} g and a new spool holds {holds:.0f} g."
        return told(text, need=fixed.plate.grams, holds=rules.new_spool_g)
    if not diary.is_free(start, length):
        return told("Nobody is free to set up {printer} at that minute.", printer=printer.name)
    day = calendar.day_of(start)
    limit = day.end if day else 0
    if rules.unattended_allowed and printer.may_run_unattended and day:
        limit = calendar.end if day.unattended_until is None else max(day.end, day.unattended_until)
    if end > limit:
        return told("{printer} would still be printing when the staffed day ends.", printer=printer.name)
    if any(outage.start < end and start < outage.end for outage in printer.outages):
        return told("{printer} is out of service then.", printer=printer.name)
    return None


def _clash(settled: Settled, printers: dict[str, PrinterState], rules: RoomRules) -> tuple[Fixed, str] | None:
    """The first fixed run whose printer is not cleared by its set-up."""
    ready = dict(settled.ready)
    for fixed in settled.fixed:
        free_from = ready[fixed.printer_id]
        if free_from is None or free_from > fixed.setup_start:
            return fixed, told("{printer} is not free at that minute.", printer=printers[fixed.printer_id].name)
        ready[fixed.printer_id] = fixed.clear_start + rules.clear_min
    return None
