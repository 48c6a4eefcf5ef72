"""From a priority list to a timetable: the compiled serial decoder.

Plates are taken in the order of the list. Each goes to the printer (or its fixed printer) where it is cleared first:
set up at the first minute at which the printer is clear, a technician is free, the run ends within the staffed day
(unless it may go on unattended) and no outage is met; cleared at the first free minute once it has cooled. What was
booked before is never moved, so every timetable obeys the rules of the room. The method is serial schedule generation
(R. Kolisch, "Serial and parallel resource-constrained project scheduling methods revisited", EJOR 90, 1996), with the
technicians as the renewable resource.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.bits import Ints, Words, book, copy, first_free
from planning.compiled import inner, kernel
from planning.room import CLEAR_MIN, HORIZON, NEW_SPOOL_MG, NOW, START_MIN, SWAP_MIN, TOLERANCE_MIN, Longs, Room

TARDINESS, LATE, SWAPS, COMPLETION, CHANGES = range(5)
# numpy integers: a plain constant would be compiled for as a type of its own.
REJECTED = np.int64(1 << 60)
NONE, ZERO = np.int64(-1), np.int64(0)

WAITING, PLACED, LOST = 0, 1, 2


class Timetable(NamedTuple):
    """Where the decoder writes, and its notes while it works; one per thread."""

    setup: Ints  # (n,)
    start: Ints  # (n,)
    end: Ints  # (n,)
    clear: Ints  # (n,) minute clearing begins
    printer: Ints  # (n,)
    swap: NDArray[np.bool_]  # (n,)
    state: NDArray[np.int8]  # (n,) WAITING, PLACED or LOST
    busy: Words
    planes: NDArray[np.uint64]
    skip: Ints
    ready: Ints  # (m,)
    loaded: Ints  # (m,)
    spool_mg: Longs  # (m,)
    next_pin: Ints  # (m,)
    served: Ints  # (g,)
    cost: Longs  # (5,) TARDINESS, LATE, SWAPS, COMPLETION, CHANGES
    found: Longs  # (4,) what _best_before writes: setup, clear, needs a swap, pins passed


def empty_timetable(room: Room) -> Timetable:
    """Arrays of the right sizes."""
    plates, printers = room.duration.shape
    return Timetable(
        setup=np.zeros(plates, np.int32),
        start=np.zeros(plates, np.int32),
        end=np.zeros(plates, np.int32),
        clear=np.zeros(plates, np.int32),
        printer=np.zeros(plates, np.int32),
        swap=np.zeros(plates, np.bool_),
        state=np.zeros(plates, np.int8),
        busy=room.busy.copy(),
        planes=room.planes.copy(),
        skip=room.skip.copy(),
        ready=room.ready.copy(),
        loaded=room.loaded.copy(),
        spool_mg=room.spool_mg.copy(),
        next_pin=np.zeros(printers, np.int32),
        served=room.served.copy(),
        cost=np.zeros(5, np.int64),
        found=np.zeros(4, np.int64),
    )


@inner
def _setup_at(room, table, plate, printer, earliest, length, limit):  # type: ignore[no-untyped-def]
    """First minute >= earliest to begin a set-up of that length; the limit when the plate is not cleared before it."""
    duration = room.duration[plate, printer]
    after = length + duration + room.cool[plate] + room.numbers[CLEAR_MIN]
    ends = room.unattended_end if room.unattended[printer] else room.day_end
    first, last = room.outage_from[printer], room.outage_from[printer + 1]
    minute = earliest
    while minute + after < limit:
        minute = first_free(table.busy, table.skip, minute, max(length, 1), limit)
        end = minute + length + duration
        if minute + after >= limit:
            return limit
        if end > ends[minute]:
            minute = room.day_end[minute]
            continue
        moved = False
        for outage in range(first, last):
            if room.outage_start[outage] < end and minute < room.outage_end[outage]:
                minute = room.outage_end[outage]
                moved = True
                break
        if not moved:
            return minute
    return limit


@inner
def _best_before(room, table, plate, printer, earliest, limit):  # type: ignore[no-untyped-def]
    """The end of clearing when the plate goes to that printer, or ``limit`` if not before it; details in table.found.

    Tries the gap before each pinned run in turn. A pinned run without time set aside for a swap must find its own
    filament, enough of it, on the printer.
    """
    numbers = room.numbers
    clear_min = numbers[CLEAR_MIN]
    need, filament = room.grams_mg[plate], room.filament[plate]
    ready, loaded, spool = table.ready[printer], table.loaded[printer], table.spool_mg[printer]
    pin, last = table.next_pin[printer], room.pin_from[printer + 1]
    while ready < limit:
        bound = limit
        swap = loaded != filament or spool < need
        if pin < last:
            pinned = room.pin_plate[pin]
            bound = min(limit, room.pin_setup[pinned] + 1)
            left = (numbers[NEW_SPOOL_MG] if swap else spool) - need
            if not room.pin_swap[pinned] and (room.filament[pinned] != filament or left < room.grams_mg[pinned]):
                bound = ready
        if not swap or need <= numbers[NEW_SPOOL_MG]:
            length = numbers[START_MIN] + (numbers[SWAP_MIN] if swap else 0)
            setup = _setup_at(room, table, plate, printer, max(ready, earliest), length, bound)
            if setup < bound and setup <= room.latest_setup[plate]:
                cooled = setup + length + room.duration[plate, printer] + room.cool[plate]
                clear = first_free(table.busy, table.skip, cooled, max(clear_min, 1), bound)
                if clear + clear_min < bound:
                    table.found[0], table.found[1], table.found[2], table.found[3] = setup, clear, swap, pin
                    return clear + clear_min
        if pin >= last:
            return limit
        ready = room.pin_clear[pinned] + clear_min
        swap = loaded != room.filament[pinned] or spool < room.grams_mg[pinned]
        spool = (numbers[NEW_SPOOL_MG] if swap else spool) - room.grams_mg[pinned]
        loaded = room.filament[pinned]
        pin += 1
    return limit


@inner
def _serve(room, table, plate, minute, limit):  # type: ignore[no-untyped-def]
    """The plate's kits are not served before that minute; False once the tardiness is above the limit."""
    for at in range(room.kit_from[plate], room.kit_from[plate + 1]):
        kit = room.kit_of[at]
        before = table.served[kit]
        if minute > before:
            table.served[kit] = minute
            due = room.deadline[kit]
            if minute > due:
                table.cost[TARDINESS] += room.weight[kit] * (minute - max(before, due))
                if before <= due:
                    table.cost[LATE] += room.weight[kit]
    return table.cost[TARDINESS] <= limit


@inner
def _write(room, table, plate, printer, setup, clear):  # type: ignore[no-untyped-def]
    """Note one run; its staff minutes are booked by the caller."""
    numbers = room.numbers
    need = room.grams_mg[plate]
    swap = table.loaded[printer] != room.filament[plate] or table.spool_mg[printer] < need
    if swap:
        table.spool_mg[printer] = numbers[NEW_SPOOL_MG]
        table.loaded[printer] = room.filament[plate]
        table.cost[SWAPS] += 1
    table.spool_mg[printer] -= need
    table.state[plate] = PLACED
    table.printer[plate] = printer
    table.swap[plate] = swap
    table.setup[plate] = setup
    table.start[plate] = setup + numbers[START_MIN] + (numbers[SWAP_MIN] if swap else 0)
    table.end[plate] = table.start[plate] + room.duration[plate, printer]
    table.clear[plate] = clear
    table.ready[printer] = clear + numbers[CLEAR_MIN]
    table.cost[COMPLETION] += table.ready[printer] - numbers[NOW]
    shown = room.published_printer[plate]
    if shown >= 0 and (shown != printer or abs(setup - room.published_setup[plate]) > numbers[TOLERANCE_MIN]):
        table.cost[CHANGES] += 1


@inner
def _pass_pins(room, table, printer, until, limit):  # type: ignore[no-untyped-def]
    """Write the pinned runs of a printer up to, not including, place ``until`` of its pins."""
    within = True
    while table.next_pin[printer] < until:
        plate = np.int64(room.pin_plate[table.next_pin[printer]])
        table.next_pin[printer] += 1
        _write(room, table, plate, printer, np.int64(room.pin_setup[plate]), np.int64(room.pin_clear[plate]))
        within = _serve(room, table, plate, np.int64(table.ready[printer]), limit) and within
    return within


@inner
def _lose(room, table, plate, limit):  # type: ignore[no-untyped-def]
    """No place for the plate before the calendar ends."""
    table.state[plate] = LOST
    table.cost[COMPLETION] += room.numbers[HORIZON] - room.numbers[NOW]
    return _serve(room, table, plate, room.numbers[HORIZON], limit)


@inner
def _earliest(room, table, plate):  # type: ignore[no-untyped-def]
    """From when a pinned order lets the plate be set up: -1 if one before it still waits, the horizon if never."""
    earliest = room.numbers[NOW]
    for at in range(room.after_from[plate], room.after_from[plate + 1]):
        before = room.after[at]
        if table.state[before] == WAITING:
            if room.pin_setup[before] < 0:
                return NONE
            earliest = max(earliest, np.int64(room.pin_setup[before]))
        elif table.state[before] == LOST:
            return room.numbers[HORIZON]
        else:
            earliest = max(earliest, np.int64(table.setup[before]))
    return earliest


@inner
def _begin(room, table):  # type: ignore[no-untyped-def]
    """An empty timetable: only what is fixed is booked."""
    copy(table.busy, room.busy)
    for level in range(len(room.planes)):
        for word in range(len(room.busy)):
            table.planes[level, word] = room.planes[level, word]
    copy(table.skip, room.skip)
    copy(table.ready, room.ready)
    copy(table.loaded, room.loaded)
    copy(table.spool_mg, room.spool_mg)
    copy(table.served, room.served)
    for printer in range(len(table.next_pin)):
        table.next_pin[printer] = room.pin_from[printer]
    for plate in range(len(table.state)):
        table.state[plate] = WAITING
    for part in range(len(table.cost)):
        table.cost[part] = 0
    for kit in range(len(room.deadline)):
        late = table.served[kit] - room.deadline[kit]
        if late > 0:
            table.cost[TARDINESS] += room.weight[kit] * late
            table.cost[LATE] += room.weight[kit]


@kernel
def decode(room, table, priority, printer_of, limit):  # type: ignore[no-untyped-def]
    """Fill the timetable. ``priority`` (n,) int32: plates in order; ``printer_of`` (n,) int32: fixed printer or -1.

    False when the order breaks a pinned order, or as soon as the weighted tardiness exceeds ``limit``; the timetable is
    then unfinished. Otherwise ``table.cost`` holds the objective.
    """
    _begin(room, table)
    numbers = room.numbers
    printers = room.duration.shape[1]
    for place in range(len(priority)):
        plate = np.int64(priority[place])
        if table.state[plate] == PLACED:
            continue
        if room.pin_setup[plate] >= 0:
            if not _reach_pin(room, table, plate, limit):
                return False
            continue
        earliest = _earliest(room, table, plate)
        if earliest < 0:
            return False
        best = numbers[HORIZON] + 1
        chosen = NONE
        setup, clear, swap, pins = ZERO, ZERO, ZERO, ZERO
        for printer in range(printers):
            if room.duration[plate, printer] == 0 or (printer_of[plate] >= 0 and printer_of[plate] != printer):
                continue
            done = _best_before(room, table, plate, printer, earliest, best)
            if done < best:
                best, chosen = done, np.int64(printer)
                setup, clear, swap, pins = table.found[0], table.found[1], table.found[2], table.found[3]
        if chosen < 0:
            if not _lose(room, table, plate, limit):
                return False
            continue
        if not _pass_pins(room, table, chosen, pins, limit):
            return False
        length = numbers[START_MIN] + (numbers[SWAP_MIN] if swap else 0)
        book(table.busy, table.planes, room.staff, table.skip, setup, setup + length)
        book(table.busy, table.planes, room.staff, table.skip, clear, clear + numbers[CLEAR_MIN])
        _write(room, table, plate, chosen, setup, clear)
        if not _serve(room, table, plate, best, limit):
            return False
    return True


@inner
def _reach_pin(room, table, plate, limit):  # type: ignore[no-untyped-def]
    """Write a pinned plate and the pinned runs before it on its printer."""
    for printer in range(room.duration.shape[1]):
        for pin in range(room.pin_from[printer], room.pin_from[printer + 1]):
            if room.pin_plate[pin] == plate:
                return _pass_pins(room, table, np.int64(printer), np.int64(pin + 1), limit)
    return True
