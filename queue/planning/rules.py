"""Dispatch rules: the orders a sensible person would try, and the bar the search has to clear.

FIFO, earliest due date, due date with priority, weighted shortest processing time (W. E. Smith, 1956) and apparent
tardiness cost (A. P. J. Vepsalainen and T. E. Morton, Management Science 33, 1987). Names as in M. Pinedo, Scheduling.
Each gives an order of plates; the decoder makes the timetable.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.bits import Ints
from planning.compiled import inner, kernel
from planning.room import CLEAR_MIN, HORIZON, NEVER, NOW, START_MIN, SWAP_MIN, Compiled, Room

Floats = NDArray[np.float64]

LOOK_AHEAD = (0.5, 2.0, 8.0, 20.0)
SWAP_AVERSION = (0.0, 0.5)
FAR = 1e9


@dataclass(frozen=True, slots=True)
class Traits:
    """What the rules look at, per plate (n,): minutes on its fastest printer, earliest due minute, share of weight."""

    minutes: Floats
    due: Floats
    weight: Floats
    queue: NDArray[np.int64]


def traits_of(compiled: Compiled) -> Traits:
    """A kit's weight is shared among its plates; a plate is due when the first of its kits is."""
    room = compiled.room
    plates = len(compiled.plates)
    members = np.bincount(room.kit_of, minlength=len(room.kits))
    due = np.full(plates, FAR)
    weight = np.zeros(plates)
    for plate in range(plates):
        kits = room.kit_of[room.plates[plate]["first_kit"] : room.plates[plate]["last_kit"]]
        if len(kits):
            due[plate] = min(FAR, float(room.kits["deadline"][kits].min()))
            weight[plate] = float((room.kits["weight"][kits] / members[kits]).sum())
    minutes = np.where(room.duration > 0, room.duration, NEVER).min(axis=1, initial=NEVER).astype(np.float64)
    minutes += float(room.numbers[START_MIN] + room.numbers[CLEAR_MIN])
    queue = np.array([plate.queue_position for plate in compiled.plates], np.int64)
    return Traits(minutes, due, weight, queue)


def orders(compiled: Compiled) -> dict[str, Ints]:
    """Rule -> plates in its order, (n,) int32; ties by queue position, then id. ATC in several strengths."""
    traits = traits_of(compiled)
    floor = np.maximum(traits.weight, 1e-9)
    found = {
        "FIFO": np.lexsort((traits.queue,)),
        "EDD": np.lexsort((traits.queue, traits.due)),
        "EDD+priority": np.lexsort((traits.queue, -traits.weight, traits.due)),
        "WSPT": np.lexsort((traits.queue, traits.minutes / floor)),
    }
    clock = _clock(compiled.room)
    for look_ahead in LOOK_AHEAD:
        for aversion in SWAP_AVERSION:
            name = f"ATC {look_ahead:g}/{aversion:g}"
            found[name] = apparent_tardiness_cost(compiled.room, traits, clock, look_ahead, aversion)
    return {name: in_pinned_order(compiled.room, order.astype(np.int32)) for name, order in found.items()}


def apparent_tardiness_cost(
    room: Room, traits: Traits, clock: NDArray[np.int64], look_ahead: float, aversion: float
) -> NDArray[np.int64]:
    """Whenever a printer is free next, the eligible plate of greatest index w/p exp(-slack / (look_ahead p_mean)).

    ``aversion`` divides the index of a plate that needs a swap by exp(aversion). Printers are taken to wait for staffed
    days, technicians to be always free: it is only an order. ``clock``: see ``_clock``.
    """
    scale = look_ahead * max(float(traits.minutes.mean()) if len(traits.minutes) else 1.0, 1.0)
    return np.asarray(
        _by_index(
            room.duration,
            room.printers,
            room.plates,
            traits.due,
            np.log(np.maximum(traits.weight, 1e-9)),
            clock,
            room.ends,
            room.numbers,
            scale,
            aversion,
        )
    )


@kernel
def _by_index(duration, printers, plates, due, log_weight, clock, ends, numbers, scale, aversion):  # type: ignore[no-untyped-def]
    """The order (n,) int64 of ``apparent_tardiness_cost``."""
    size, count = duration.shape
    handling = float(numbers[START_MIN] + numbers[CLEAR_MIN])
    free, loaded, left = np.zeros(count), np.zeros(count, np.int64), np.zeros(count, np.int64)
    for printer in range(count):
        free[printer], loaded[printer] = printers[printer].ready, printers[printer].loaded
        for plate in range(size):
            left[printer] += duration[plate, printer] > 0
    waiting, order = np.ones(size, np.bool_), np.zeros(size, np.int64)
    for place in range(size):
        printer = -1
        for other in range(count):
            if left[other] > 0 and (printer < 0 or free[other] < free[printer]):
                printer = other
        best, chosen = -np.inf, -1
        for plate in range(size):
            minutes = duration[plate, printer] + handling
            if waiting[plate] and duration[plate, printer] > 0:
                slack = max(0.0, due[plate] - minutes - free[printer])
                index = log_weight[plate] - np.log(minutes) - slack / scale
                if plates[plate].filament != loaded[printer]:
                    index -= aversion
                if chosen < 0 or index > best:
                    best, chosen = index, plate
        order[place] = chosen
        waiting[chosen] = False
        for other in range(count):
            left[other] -= duration[chosen, other] > 0
        swap = plates[chosen].filament != loaded[printer]
        busy = float(numbers[START_MIN] + (numbers[SWAP_MIN] if swap else 0) + duration[chosen, printer])
        row = printers[printer].unattended
        free[printer] = _done(clock, ends, row, numbers, free[printer], busy) + float(numbers[CLEAR_MIN])
        loaded[printer] = plates[chosen].filament
    return order


def _clock(room: Room) -> NDArray[np.int64]:
    """For every minute the first minute at or after it that lies in a staffed day, (horizon + 1,)."""
    horizon = int(room.numbers[HORIZON])
    here = np.where(room.ends[0] > 0, np.arange(horizon), horizon)
    ahead = np.minimum.accumulate(here[::-1])[::-1]
    return np.append(ahead, horizon).astype(np.int64)


@inner
def _done(clock, ends, row, numbers, minute, busy):  # type: ignore[no-untyped-def]
    """Roughly when a run of ``busy`` minutes is over if it is set up from ``minute``."""
    horizon = numbers[HORIZON]
    at = clock[min(np.int64(max(minute, float(numbers[NOW]))), horizon)]
    while at < horizon and at + busy > ends[row, at]:
        at = clock[min(np.int64(ends[0, at]), horizon)]
    return at + busy


def in_pinned_order(room: Room, order: Ints) -> Ints:
    """The same order with every plate moved back behind those its pin names."""
    if not len(room.after):
        return order
    done = np.zeros(len(order), np.bool_)
    slices = zip(room.plates["first_after"], room.plates["last_after"], strict=True)
    before = [room.after[first:last] for first, last in slices]
    result: list[int] = []
    left = [int(plate) for plate in order]
    while left:
        ready = [plate for plate in left if done[before[plate]].all()]
        result.append(ready[0])
        done[ready[0]] = True
        left.remove(ready[0])
    return np.array(result, np.int32)
