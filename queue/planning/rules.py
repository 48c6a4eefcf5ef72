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
from planning.room import CLEAR_MIN, HORIZON, NEVER, NOW, START_MIN, SWAP_MIN, Compiled, Room

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

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
    for look_ahead in LOOK_AHEAD:
        for aversion in SWAP_AVERSION:
            name = f"ATC {look_ahead:g}/{aversion:g}"
            found[name] = apparent_tardiness_cost(compiled.room, traits, look_ahead, aversion)
    return {name: in_pinned_order(compiled.room, order.astype(np.int32)) for name, order in found.items()}


def apparent_tardiness_cost(room: Room, traits: Traits, look_ahead: float, aversion: float) -> NDArray[np.int64]:
    """Whenever a printer is free next, the eligible plate of greatest index w/p exp(-slack / (look_ahead p_mean)).

    ``aversion`` divides the index of a plate that needs a swap by exp(aversion). Printers are taken to wait for staffed
    days, technicians to be always free: it is only an order.
    """
    plates = room.duration.shape[0]
    free = room.printers["ready"].astype(np.float64)
    loaded = room.printers["loaded"].copy()
    filament = room.plates["filament"]
    waiting = np.ones(plates, np.bool_)
    eligible = room.duration > 0
    left = eligible.sum(axis=0)
    scale = look_ahead * max(float(traits.minutes.mean()) if plates else 1.0, 1.0)
    next_staffed = _next_staffed(room)
    handling = float(room.numbers[START_MIN] + room.numbers[CLEAR_MIN])
    order = np.zeros(plates, np.int64)
    for place in range(plates):
        printer = int(np.argmin(np.where(left > 0, free, np.inf)))
        choice = np.flatnonzero(waiting & eligible[:, printer])
        minutes = room.duration[choice, printer] + handling
        slack = np.maximum(0.0, traits.due[choice] - minutes - free[printer])
        index = np.log(np.maximum(traits.weight[choice], 1e-9) / np.maximum(minutes, 1e-9)) - slack / scale
        index -= aversion * (filament[choice] != loaded[printer])
        plate = int(choice[np.argmax(index)])
        order[place] = plate
        waiting[plate] = False
        left -= eligible[plate]
        swap = float(room.numbers[SWAP_MIN]) * (filament[plate] != loaded[printer])
        free[printer] = _done(room, next_staffed, printer, free[printer], float(room.duration[plate, printer]), swap)
        loaded[printer] = filament[plate]
    return order


def _next_staffed(room: Room) -> NDArray[np.int64]:
    """For every minute the first minute at or after it that lies in a staffed day."""
    horizon = int(room.numbers[HORIZON])
    here = np.where(room.ends[0] > 0, np.arange(horizon), horizon)
    ahead = np.minimum.accumulate(here[::-1])[::-1]
    return np.append(ahead, horizon).astype(np.int64)


def _done(
    room: Room, next_staffed: NDArray[np.int64], printer: int, minute: float, print_min: float, swap: float
) -> float:
    """Roughly when a printer is cleared again if it is set up from ``minute``."""
    horizon = int(room.numbers[HORIZON])
    handling = float(room.numbers[START_MIN]) + swap
    at = int(next_staffed[min(int(max(minute, float(room.numbers[NOW]))), horizon)])
    ends = room.ends[room.printers[printer]["unattended"]]
    while at < horizon and at + handling + print_min > ends[at]:
        at = int(next_staffed[min(int(room.ends[0, at]), horizon)])
    return at + handling + print_min + float(room.numbers[CLEAR_MIN])


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
