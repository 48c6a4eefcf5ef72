"""Orders made kit by kit: where a team is served by its last plate, whole kits are better put in turn than plates.

The index is apparent tardiness cost as in ``planning.rules``, with the kit as the job and the scarcer resource as the
machine: either the staff, who handle every plate, or the printers. The clock counts that resource's minutes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planning.bits import Ints
from planning.room import CLEAR_MIN, HORIZON, NEVER, NOW, START_MIN, SWAP_MIN, Compiled, Room
from planning.rules import Floats, in_pinned_order

LOOK_AHEAD = (0.3, 1.0, 4.0)
# Set-ups that need a swap, as a share: only for the clock.
SWAP_SHARE = 0.4


def kit_orders(compiled: Compiled) -> dict[str, Ints]:
    """Name -> plates kit by kit, (n,) int32; a kit's longest plates first. Plates without a kit come last."""
    room = compiled.room
    if not len(room.plates) or not len(room.kits):
        return {}
    minutes = np.where(room.duration > 0, room.duration, NEVER).min(axis=1).astype(np.float64)
    handling = float(room.numbers[START_MIN] + room.numbers[CLEAR_MIN]) + SWAP_SHARE * float(room.numbers[SWAP_MIN])
    works = {"staff": np.full(len(minutes), max(handling, 1e-3)), "printers": minutes + handling}
    clocks = {"staff": _staff_clock(room), "printers": _printer_clock(room)}
    found = {}
    for resource, work in works.items():
        for look_ahead in LOOK_AHEAD:
            turns = _turns(room, work, clocks[resource], look_ahead)
            order = np.lexsort((np.arange(len(minutes)), -minutes, turns)).astype(np.int32)
            found[f"kits by {resource} {look_ahead:g}"] = in_pinned_order(room, order)
    return found


def _turns(room: Room, work: Floats, clock: Floats, look_ahead: float) -> NDArray[np.int64]:
    """Per plate the turn of the first of its kits, (n,)."""
    plates, kits = len(room.plates), len(room.kits)
    owner = np.repeat(np.arange(plates), room.plates["last_kit"] - room.plates["first_kit"])
    member = np.zeros((kits, plates), np.bool_)
    member[room.kit_of, owner] = True
    now, horizon = int(room.numbers[NOW]), int(room.numbers[HORIZON])
    due = clock[np.clip(room.kits["deadline"], now, horizon)]
    weight = np.maximum(room.kits["weight"].astype(np.float64), 1e-9)
    undone = np.ones(plates, np.bool_)
    turns = np.full(plates, kits, np.int64)
    waiting = np.ones(kits, np.bool_)
    size = member.astype(np.float64) @ work
    scale = look_ahead * max(float(size.mean()), 1e-3)
    time = 0.0
    for turn in range(kits):
        slack = np.maximum(0.0, due - time - size)
        index = np.log(weight) - np.log(np.maximum(size, 1e-6)) - slack / scale
        kit = int(np.argmax(np.where(waiting, index, -np.inf)))
        waiting[kit] = False
        taken = member[kit] & undone
        turns[taken] = turn
        undone[taken] = False
        time += float(work[taken].sum())
        size = size - member[:, taken].astype(np.float64) @ work[taken]
    return turns


def _staff_clock(room: Room) -> Floats:
    """Person-minutes from now until each minute, (horizon + 1,)."""
    horizon = int(room.numbers[HORIZON])
    count = np.zeros(horizon, np.float64)
    for level, words in enumerate(room.staff):
        count += (level + 1) * np.unpackbits(words.view(np.uint8), bitorder="little")[:horizon]
    return np.concatenate([[0.0], np.cumsum(count)])


def _printer_clock(room: Room) -> Floats:
    """Printer-minutes from now until each minute, outages aside, (horizon + 1,)."""
    alone = int(room.printers["unattended"].sum())
    count = np.where(room.ends[0] > 0, float(len(room.printers)), float(alone))
    count[: int(room.numbers[NOW])] = 0.0
    return np.concatenate([[0.0], np.cumsum(count)])
