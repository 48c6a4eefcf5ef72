"""From a priority list to a timetable: the compiled serial decoder.

Plates are taken in the order of the list. Each goes to the printer (or its fixed printer) where it is cleared first:
set up at the first minute at which the printer is clear, a technician is free, the run ends within the staffed day
(unless it may go on unattended) and no outage is met; cleared at the first free minute once it has cooled. What was
booked before is never moved, so every timetable obeys the rules of the room. The method is serial schedule generation
(R. Kolisch, "Serial and parallel resource-constrained project scheduling methods revisited", EJOR 90, 1996), with the
technicians as the renewable resource.

Inner functions are handed single arrays, not the tuples: taking an array out of a tuple costs more than the work done.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.bits import Ints, Words, book, copy, first_free
from planning.compiled import inner, kernel
from planning.room import (
    CLEAR_MIN,
    HORIZON,
    NEW_SPOOL_MG,
    NOW,
    START_MIN,
    SWAP_MIN,
    TOLERANCE_MIN,
    Longs,
    Records,
    Room,
)

TARDINESS, LATE, SWAPS, COMPLETION, CHANGES = range(5)
# numpy integers: a plain constant would be compiled for as a type of its own.
REJECTED = np.int64(1 << 60)
NONE, ZERO = np.int64(-1), np.int64(0)

WAITING, PLACED, LOST = 0, 1, 2

RUN = np.dtype(
    [
        ("state", np.int64),  # WAITING, PLACED or LOST
        ("printer", np.int64),
        ("swap", np.int64),
        ("setup", np.int64),
        ("start", np.int64),
        ("end", np.int64),
        ("clear", np.int64),  # minute clearing begins
    ]
)


class Timetable(NamedTuple):
    """Where the decoder writes, and its notes while it works; one per thread."""

    runs: Records  # (n,) RUN
    busy: Words
    planes: NDArray[np.uint64]
    skip: Ints
    printers: Records  # (m,) PRINTER as they stand after the last run written
    served: Longs  # (g,)
    cost: Longs  # (5,) TARDINESS, LATE, SWAPS, COMPLETION, CHANGES
    found: Longs  # (5,) what _choose writes: set-up, clearing, swap, pins passed, end of clearing


def empty_timetable(room: Room) -> Timetable:
    """Arrays of the right sizes."""
    return Timetable(
        runs=np.zeros(len(room.plates), RUN),
        busy=room.busy.copy(),
        planes=room.planes.copy(),
        skip=room.skip.copy(),
        printers=room.printers.copy(),
        served=np.zeros(len(room.kits), np.int64),
        cost=np.zeros(5, np.int64),
        found=np.zeros(5, np.int64),
    )


@inner
def _setup_at(busy, skip, ends, outages, printer, after, running, length, earliest, limit):  # type: ignore[no-untyped-def]
    """First minute >= earliest for a set-up of that length; the limit when the plate is not cleared before it.

    ``running``: minutes from set-up to the end of the print; ``after``: to the end of clearing.
    """
    minute = earliest
    while minute + after < limit:
        minute = first_free(busy, skip, minute, max(length, 1), limit)
        if minute + after >= limit:
            return limit
        end = minute + running
        if end > ends[printer.unattended, minute]:
            minute = np.int64(ends[0, minute])
            continue
        moved = False
        for outage in range(printer.first_outage, printer.last_outage):
            if outages[outage, 0] < end and minute < outages[outage, 1]:
                minute = outages[outage, 1]
                moved = True
                break
        if not moved:
            return minute
    return limit


@inner
def _best_before(  # type: ignore[no-untyped-def]
    busy, skip, ends, outages, plates, pin_plate, numbers, found, plate, printer, duration, earliest, limit, aversion
):
    """The end of clearing when the plate goes to that printer, or ``limit`` if not before it; details in ``found``.
    ``aversion`` minutes are added to it when the printer's spool must be changed.

    Tries the gap before each pinned run in turn. A pinned run without time set aside for a swap must find its own
    filament, enough of it, on the printer.
    """
    clear_min, new_spool = numbers[CLEAR_MIN], numbers[NEW_SPOOL_MG]
    ready, loaded, spool = printer.ready, printer.loaded, printer.spool_mg
    pin = printer.next_pin
    while ready < limit:
        swap = loaded != plate.filament or spool < plate.grams_mg
        bound = min(limit - aversion if swap else limit, numbers[HORIZON] + 1)
        if pin < printer.last_pin:
            pinned = plates[pin_plate[pin]]
            bound = min(bound, pinned.pin_setup + 1)
            left = (new_spool if swap else spool) - plate.grams_mg
            if pinned.pin_swap == 0 and (pinned.filament != plate.filament or left < pinned.grams_mg):
                bound = ready
        if not swap or plate.grams_mg <= new_spool:
            length = numbers[START_MIN] + (numbers[SWAP_MIN] if swap else 0)
            running = length + duration
            after = running + plate.cool + clear_min
            begin = max(ready, earliest)
            setup = _setup_at(busy, skip, ends, outages, printer, after, running, length, begin, bound)
            if setup < bound and setup <= plate.latest_setup:
                clear = first_free(busy, skip, setup + running + plate.cool, max(clear_min, 1), bound)
                if clear + clear_min < bound:
                    found[0], found[1], found[2], found[3] = setup, clear, swap, pin
                    return clear + clear_min + (aversion if swap else 0)
        if pin >= printer.last_pin:
            return limit
        pinned = plates[pin_plate[pin]]
        ready = pinned.pin_clear + clear_min
        swap = loaded != pinned.filament or spool < pinned.grams_mg
        spool = (new_spool if swap else spool) - pinned.grams_mg
        loaded = pinned.filament
        pin += 1
    return limit


@inner
def _serve(plate, kits, kit_of, served, cost, minute, limit):  # type: ignore[no-untyped-def]
    """The plate's kits are not served before that minute; False once the tardiness is above the limit."""
    for at in range(plate.first_kit, plate.last_kit):
        number = kit_of[at]
        before = served[number]
        if minute > before:
            served[number] = minute
            kit = kits[number]
            if minute > kit.deadline:
                cost[TARDINESS] += kit.weight * (minute - max(before, kit.deadline))
                if before <= kit.deadline:
                    cost[LATE] += kit.weight
    return cost[TARDINESS] <= limit


@inner
def _write(plate, printer, run, numbers, cost, duration, number, setup, clear):  # type: ignore[no-untyped-def]
    """Note one run on printer ``number``; its staff minutes are booked by the caller."""
    swap = printer.loaded != plate.filament or printer.spool_mg < plate.grams_mg
    if swap:
        printer.spool_mg = numbers[NEW_SPOOL_MG]
        printer.loaded = plate.filament
        cost[SWAPS] += 1
    printer.spool_mg -= plate.grams_mg
    printer.ready = clear + numbers[CLEAR_MIN]
    run.state = PLACED
    run.printer = number
    run.swap = swap
    run.setup = setup
    run.start = setup + numbers[START_MIN] + (numbers[SWAP_MIN] if swap else 0)
    run.end = run.start + duration
    run.clear = clear
    cost[COMPLETION] += printer.ready - numbers[NOW]
    shown = plate.published_printer
    if shown >= 0 and (shown != number or abs(setup - plate.published_setup) > numbers[TOLERANCE_MIN]):
        cost[CHANGES] += 1


@inner
def _pass_pins(  # type: ignore[no-untyped-def]
    plates, printers, runs, kits, kit_of, pin_plate, served, duration, numbers, cost, number, until, limit
):
    """Write the pinned runs of a printer up to, not including, place ``until`` of its pins."""
    within = True
    printer = printers[number]
    while printer.next_pin < until:
        row = pin_plate[printer.next_pin]
        printer.next_pin += 1
        plate = plates[row]
        minutes = duration[row, number]
        _write(plate, printer, runs[row], numbers, cost, minutes, number, plate.pin_setup, plate.pin_clear)
        within = _serve(plate, kits, kit_of, served, cost, printer.ready, limit) and within
    return within


@inner
def _earliest(plate, plates, runs, after, numbers):  # type: ignore[no-untyped-def]
    """From when a pinned order lets the plate be set up: -1 if one before it still waits, the horizon if never."""
    earliest = numbers[NOW]
    for at in range(plate.first_after, plate.last_after):
        before = runs[after[at]]
        pin_setup = plates[after[at]].pin_setup
        if pin_setup >= 0:
            earliest = max(earliest, pin_setup)
        elif before.state == WAITING:
            return NONE
        elif before.state == LOST:
            return numbers[HORIZON]
        else:
            earliest = max(earliest, before.setup)
    return earliest


@inner
def _begin(room, table):  # type: ignore[no-untyped-def]
    """An empty timetable: only what is fixed is booked."""
    copy(table.busy, room.busy)
    copy(table.skip, room.skip)
    for level in range(len(room.planes)):
        copy(table.planes[level], room.planes[level])
    for number in range(len(room.printers)):
        now, printer = table.printers[number], room.printers[number]
        now.ready, now.loaded, now.spool_mg = printer.ready, printer.loaded, printer.spool_mg
        now.next_pin = printer.next_pin
    for row in range(len(table.runs)):
        table.runs[row].state = WAITING
    for part in range(len(table.cost)):
        table.cost[part] = 0
    for number in range(len(room.kits)):
        kit = room.kits[number]
        table.served[number] = kit.served
        if kit.served > kit.deadline:
            table.cost[TARDINESS] += kit.weight * (kit.served - kit.deadline)
            table.cost[LATE] += kit.weight


@inner
def _first_ready(printers, duration, row):  # type: ignore[no-untyped-def]
    """The eligible printer that would finish first if staff were always there: a good bound for the others."""
    chosen, best = ZERO, REJECTED
    for number in range(len(printers)):
        minutes = duration[row, number]
        if minutes > 0 and printers[number].ready + minutes < best:
            chosen, best = np.int64(number), printers[number].ready + minutes
    return chosen


@inner
def _pin_place(printers, pin_plate, row):  # type: ignore[no-untyped-def]
    """The printer a plate is pinned on, and the place after its own among that printer's pins."""
    for number in range(len(printers)):
        for pin in range(printers[number].next_pin, printers[number].last_pin):
            if pin_plate[pin] == row:
                return np.int64(number), np.int64(pin + 1)
    return NONE, ZERO


@inner
def _choose(  # type: ignore[no-untyped-def]
    busy, skip, ends, outages, plates, printers, pin_plate, duration, numbers, found, row, fixed, earliest, aversion
):
    """The printer (or the fixed one) on which the plate is cleared first, -1 if none; ``found`` as in _best_before.

    ``found[4]`` is the end of clearing.
    """
    plate = plates[row]
    if fixed >= 0:
        aversion = ZERO
    chosen, best = NONE, numbers[HORIZON] + 1 + aversion
    setup, clear, swap, until = ZERO, ZERO, ZERO, ZERO
    first = _first_ready(printers, duration, row) if fixed < 0 else fixed
    for turn in range(len(printers) if fixed < 0 else 1):
        number = first
        if turn > 0:
            number = np.int64(turn - 1 if turn <= first else turn)
        minutes = np.int64(duration[row, number])
        if minutes == 0:
            continue
        printer = printers[number]
        done = _best_before(
            busy,
            skip,
            ends,
            outages,
            plates,
            pin_plate,
            numbers,
            found,
            plate,
            printer,
            minutes,
            earliest,
            best,
            aversion,
        )
        if done < best:
            best, chosen = done, number
            setup, clear, swap, until = found[0], found[1], found[2], found[3]
    found[0], found[1], found[2], found[3], found[4] = setup, clear, swap, until, clear + numbers[CLEAR_MIN]
    return chosen


@kernel
def decode(room, table, priority, printer_of, limit, aversion):  # type: ignore[no-untyped-def]
    """Fill the timetable. ``priority`` (n,) int32: plates in order; ``printer_of`` (n,) int32: fixed printer or -1.
    Where the printer is free, one that needs no swap is preferred to one that is done ``aversion`` minutes earlier.

    False when the order breaks a pinned order, or as soon as the weighted tardiness exceeds ``limit``; the timetable is
    then unfinished. Otherwise ``table.cost`` holds the objective.
    """
    _begin(room, table)
    busy, skip, planes, staff = table.busy, table.skip, table.planes, room.staff
    ends, outages, pin_plate, numbers = room.ends, room.outages, room.pin_plate, room.numbers
    plates, printers, runs, kits = room.plates, table.printers, table.runs, room.kits
    duration, kit_of, after, served = room.duration, room.kit_of, room.after, table.served
    cost, found = table.cost, table.found
    start_min, swap_min, clear_min = numbers[START_MIN], numbers[SWAP_MIN], numbers[CLEAR_MIN]
    shortest = max(1, min(start_min, clear_min))
    horizon = numbers[HORIZON]
    for place in range(len(priority)):
        row = np.int64(priority[place])
        plate, run = plates[row], runs[row]
        if run.state == PLACED:
            continue
        pinned = plate.pin_setup >= 0
        if pinned:
            chosen, until = _pin_place(printers, pin_plate, row)
        else:
            earliest = _earliest(plate, plates, runs, after, numbers)
            if earliest < 0:
                return False
            fixed = np.int64(printer_of[row])
            chosen = _choose(
                busy,
                skip,
                ends,
                outages,
                plates,
                printers,
                pin_plate,
                duration,
                numbers,
                found,
                row,
                fixed,
                earliest,
                aversion,
            )
            until = found[3]
        if chosen < 0:
            run.state = LOST
            cost[COMPLETION] += horizon - numbers[NOW]
            if not _serve(plate, kits, kit_of, served, cost, horizon, limit):
                return False
            continue
        if not _pass_pins(
            plates, printers, runs, kits, kit_of, pin_plate, served, duration, numbers, cost, chosen, until, limit
        ):
            return False
        if pinned:
            continue
        setup, clear = found[0], found[1]
        book(busy, planes, staff, skip, setup, setup + start_min + found[2] * swap_min, shortest)
        book(busy, planes, staff, skip, clear, clear + clear_min, shortest)
        _write(plate, printers[chosen], run, numbers, cost, duration[row, chosen], chosen, setup, clear)
        if not _serve(plate, kits, kit_of, served, cost, found[4], limit):
            return False
    return True
