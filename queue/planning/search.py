"""Simulated annealing over priority lists (S. Kirkpatrick et al., Science 220, 1983), in compiled steps.

A solution is an order of plates and, for some plates, a fixed printer. Two variants run side by side, one per core:
"free" leaves the choice of printer mostly to the decoder, "fixed" keeps the printers found and is faster per step.
Half of the moves go by late kits: they pull the plate that makes a kit late, or all plates of one kit, forward.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from time import monotonic
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.bits import Ints, Words, copy
from planning.compiled import inner, kernel
from planning.decoder import (
    CHANGES,
    COMPLETION,
    LATE,
    PLACED,
    REJECTED,
    SWAPS,
    TARDINESS,
    Timetable,
    decode,
    empty_timetable,
)
from planning.room import CLEAR_MIN, Longs, Room
from planning.types import Stop

# Worth of one unit in weighted tardy minutes, for the temperature only: incumbents are compared as tuples.
LATE_WORTH, SWAP_WORTH, COMPLETION_WORTH = 0.5, 0.015, 1e-4
# Temperatures in weighted minutes: first and last, of rooms up to so many plates and of larger ones, where there is no
# time for more than going downhill.
MANY_PLATES = 200
TEMPERATURES, BRISK = (1500.0, 10.0), (300.0, 1.0)
SYNC = 200
CHUNK_S = 0.04
LATE_COUNT, DONE = 0, 1
NOW, TRIAL, BEST = 0, 1, 2
# Minutes by which the decoder may put off a plate to save a swap, and how often the search tries another number.
AVERSIONS = np.array([0, 15, 60, 240, 480], np.int64)
AVERSION_MOVES = 0.01
MULTIPLIER = np.uint64(0x2545F4914F6CDD1D)


@dataclass(frozen=True, slots=True)
class Start:
    """A solution: the order (n,), the fixed printers (n,), -1 where the decoder chooses, and its aversion to swaps."""

    priority: Ints
    printer_of: Ints
    aversion: int = 0


class Walk(NamedTuple):
    """One variant between compiled chunks."""

    priority: Ints  # (n,) current order
    printer_of: Ints  # (n,) -1 left to the decoder
    trial_priority: Ints
    trial_printer_of: Ints
    best_priority: Ints
    best_printer_of: Ints
    aversion: Longs  # (3,) of the current order, the trial and the best
    best_cost: Longs  # (4,) compared as a tuple
    score: NDArray[np.float64]  # (1,) of the current order
    late: Ints  # (n,) the plates that make a kit late, first LATE_COUNT of them
    tally: Longs  # (2,) LATE_COUNT, DONE iterations
    random: Words  # (1,) xorshift64* (S. Vigna, ACM Trans. Math. Softw. 42, 2016)


def _walk(start: Start, seed: int) -> Walk:
    scrambled = (seed * 0x9E3779B97F4A7C15 + 0x1234567) & 0xFFFFFFFFFFFFFFFF
    return Walk(
        priority=start.priority.copy(),
        printer_of=start.printer_of.copy(),
        trial_priority=start.priority.copy(),
        trial_printer_of=start.printer_of.copy(),
        best_priority=start.priority.copy(),
        best_printer_of=start.printer_of.copy(),
        aversion=np.full(3, start.aversion, np.int64),
        best_cost=np.full(4, REJECTED, np.int64),
        score=np.zeros(1),
        late=np.zeros(len(start.priority), np.int32),
        tally=np.zeros(2, np.int64),
        random=np.array([scrambled or 1], np.uint64),
    )


@inner
def _unit(random: Words) -> float:
    """Uniform in [0, 1)."""
    state = random[0]
    state ^= state >> np.uint64(12)
    state ^= state << np.uint64(25)
    state ^= state >> np.uint64(27)
    random[0] = state
    return float((state * MULTIPLIER) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@inner
def _below(random: Words, size: int) -> int:
    return int(_unit(random) * size)


@inner
def _shift(order: Ints, source: int, target: int) -> None:
    """Take out the plate at ``source`` and put it in at ``target``."""
    plate = order[source]
    step = 1 if source < target else -1
    for place in range(source, target, step):
        order[place] = order[place + step]
    order[target] = plate


@inner
def _in_kit(plate, kit_of, kit):  # type: ignore[no-untyped-def]
    for at in range(plate.first_kit, plate.last_kit):  # noqa: SIM110 - a generator does not compile
        if kit_of[at] == kit:
            return True
    return False


@inner
def _gather_kit(plates, kit_of, order, trial, printer_of, late, lates, random, free_printers):  # type: ignore[no-untyped-def]
    """All plates of one kit, mostly a late one, side by side at one place, mostly earlier."""
    size = len(order)
    plate = plates[late[_below(random, lates)] if _unit(random) < 0.8 else _below(random, size)]
    if plate.first_kit == plate.last_kit:
        return
    kit = kit_of[plate.first_kit + _below(random, plate.last_kit - plate.first_kit)]
    first, last, members = size, 0, 0
    for place in range(size):
        if _in_kit(plates[order[place]], kit_of, kit):
            first = min(first, place)
            last = place
            members += 1
    kind = _unit(random)
    if kind < 0.5:
        target = _below(random, last + 1)
    elif kind < 0.8:
        target = max(0, first - 1 - _below(random, max(2, size // 10)))
    else:
        target = _below(random, size)
    target = min(target, size - members)
    others, inside = 0, target
    for place in range(size):
        member = order[place]
        if _in_kit(plates[member], kit_of, kit):
            trial[inside] = member
            inside += 1
            if free_printers:
                printer_of[member] = -1
        else:
            trial[others if others < target else others + members] = member
            others += 1


@inner
def _one_plate(order, printer_of, duration, late, lates, random, fixed):  # type: ignore[no-untyped-def]
    """Shift or exchange one plate, or give it another printer."""
    size = len(order)
    kind = _unit(random)
    place = _below(random, size)
    if lates > 0 and _unit(random) < 0.5:
        plate = late[_below(random, lates)]
        for other in range(size):
            if order[other] == plate:
                place = other
                break
        if kind < 0.5:
            near = place - 1 - _below(random, max(1, size // 8))
            target = _below(random, place + 1) if _unit(random) < 0.5 else max(0, near)
        else:
            target = _below(random, size)
    else:
        reach = max(2, size // 6)
        target = min(size - 1, max(0, place - reach + _below(random, 2 * reach + 1)))
    if kind < 0.55:
        plate = order[place]
        _shift(order, place, target)
        if not fixed and _unit(random) < 0.3:
            printer_of[plate] = -1
    elif kind < 0.75:
        order[place], order[target] = order[target], order[place]
    elif _unit(random) < (0.4 if fixed else 0.9):
        printer_of[order[place]] = -1
    else:
        plate = order[place]
        printer = _below(random, duration.shape[1])
        if duration[plate, printer] > 0:
            printer_of[plate] = printer


@inner
def _note_late(plates, kits, kit_of, runs, served, late, clear_min):  # type: ignore[no-untyped-def]
    """For every late kit a plate that makes it so, written to ``late``; how many."""
    count = 0
    for number in range(len(kits)):
        if served[number] <= kits[number].deadline or count >= len(late):
            continue
        for row in range(len(plates)):
            done = runs[row].clear + clear_min if runs[row].state == PLACED else served[number]
            if done == served[number] and _in_kit(plates[row], kit_of, number):
                late[count] = row
                count += 1
                break
    return count


@inner
def _score(cost, plates, penalty):  # type: ignore[no-untyped-def]
    return (
        cost[TARDINESS]
        + penalty * cost[CHANGES]
        + LATE_WORTH * cost[LATE]
        + SWAP_WORTH * cost[SWAPS]
        + COMPLETION_WORTH * cost[COMPLETION] / plates
    )


@inner
def _keep_best(table, walk, penalty):  # type: ignore[no-untyped-def]
    cost, best = table.cost, walk.best_cost
    tardiness = cost[TARDINESS] + penalty * cost[CHANGES]
    found = (tardiness, cost[LATE], cost[SWAPS], cost[COMPLETION])
    if found < (best[0], best[1], best[2], best[3]):
        best[0], best[1], best[2], best[3] = found
        copy(walk.best_priority, walk.priority)
        copy(walk.best_printer_of, walk.printer_of)
        walk.aversion[BEST] = walk.aversion[NOW]


@inner
def _synchronise(room, table, walk, penalty, fixed):  # type: ignore[no-untyped-def]
    """Decode the current order afresh: note late kits and, in the fixed variant, the printers."""
    decode(room, table, walk.priority, walk.printer_of, REJECTED, walk.aversion[NOW])
    if fixed:
        for plate in range(len(walk.priority)):
            if table.runs[plate].state == PLACED and room.plates[plate].pin_setup < 0:
                walk.printer_of[plate] = table.runs[plate].printer
    walk.score[0] = _score(table.cost, len(walk.priority), penalty)
    _keep_best(table, walk, penalty)
    walk.tally[LATE_COUNT] = _note_late(
        room.plates, room.kits, room.kit_of, table.runs, table.served, walk.late, room.numbers[CLEAR_MIN]
    )


@kernel
def advance(room, table, walk, iterations, warm, cool, penalty, fixed):  # type: ignore[no-untyped-def]
    """``iterations`` steps of one variant while the temperature falls geometrically from ``warm`` to ``cool``."""
    size = len(walk.priority)
    plates, kit_of, duration = room.plates, room.kit_of, room.duration
    random, late, tally = walk.random, walk.late, walk.tally
    share = 0.6 if fixed else 0.3
    release = 0.5 if fixed else 0.3
    for step in range(iterations):
        if tally[DONE] % SYNC == 0:
            _synchronise(room, table, walk, penalty, fixed)
        tally[DONE] += 1
        temperature = warm * (cool / warm) ** (step / iterations)
        copy(walk.trial_priority, walk.priority)
        copy(walk.trial_printer_of, walk.printer_of)
        walk.aversion[TRIAL] = walk.aversion[NOW]
        lates = tally[LATE_COUNT]
        if not fixed and _unit(random) < AVERSION_MOVES:
            walk.aversion[TRIAL] = AVERSIONS[_below(random, len(AVERSIONS))]
        elif lates > 0 and _unit(random) < share:
            free = _unit(random) < release
            _gather_kit(
                plates, kit_of, walk.priority, walk.trial_priority, walk.trial_printer_of, late, lates, random, free
            )
        else:
            _one_plate(walk.trial_priority, walk.trial_printer_of, duration, late, lates, random, fixed)
        accept = walk.score[0] - temperature * np.log(max(1e-12, _unit(random)))
        if not decode(room, table, walk.trial_priority, walk.trial_printer_of, np.int64(accept), walk.aversion[TRIAL]):
            continue
        score = _score(table.cost, size, penalty)
        if score <= accept:
            walk.score[0] = score
            copy(walk.priority, walk.trial_priority)
            copy(walk.printer_of, walk.trial_printer_of)
            walk.aversion[NOW] = walk.aversion[TRIAL]
            _keep_best(table, walk, penalty)


@dataclass(slots=True)
class _Variant:
    """One walk, its scratch and its pace."""

    walk: Walk
    table: Timetable
    fixed: bool
    chunk: int = SYNC

    def run(self, room: Room, span: tuple[float, float], iterations: int, penalty: int) -> float:
        """Advance over a share of the cooling, ``span`` in [0, 1]; seconds it took."""
        began = monotonic()
        hot, cold = TEMPERATURES if len(room.plates) <= MANY_PLATES else BRISK
        warm, cool = (hot * (cold / hot) ** share for share in span)
        advance(room, self.table, self.walk, iterations, warm, cool, penalty, self.fixed)
        return monotonic() - began


def anneal(room: Room, start: Start, stop: Stop, seed: int, penalty: int) -> Iterator[Start]:
    """Each solution that is better than all before it, ``start`` included, until ``stop``."""
    variants = [_Variant(_walk(start, 2 * seed + fixed), empty_timetable(room), bool(fixed)) for fixed in (False, True)]
    table = variants[0].table
    decode(room, table, start.priority, start.printer_of, REJECTED, np.int64(start.aversion))
    best = _cost_of(table, penalty)
    began = monotonic()
    done = 0
    with ThreadPoolExecutor(len(variants), thread_name_prefix="plan") as pool:
        while True:
            elapsed = monotonic() - began
            if (stop.iterations is not None and done >= stop.iterations) or elapsed >= (stop.seconds or np.inf):
                return
            jobs = []
            for variant in variants:
                span, count = _next_chunk(variant, stop, done, elapsed)
                jobs.append((variant, count, pool.submit(variant.run, room, span, count, penalty)))
            done += jobs[0][1]
            for variant, count, job in jobs:
                pace = max(job.result(), 1e-6) / count
                if stop.iterations is None:
                    variant.chunk = int(min(max(CHUNK_S / pace, 1), 100_000))
            for variant in variants:
                found = tuple(int(value) for value in variant.walk.best_cost)
                if found < best:
                    best = found
                    walk = variant.walk
                    yield Start(walk.best_priority.copy(), walk.best_printer_of.copy(), int(walk.aversion[BEST]))


def _next_chunk(variant: _Variant, stop: Stop, done: int, elapsed: float) -> tuple[tuple[float, float], int]:
    """The share of the cooling the next chunk covers, and its steps."""
    if stop.iterations is not None:
        count = min(variant.chunk, stop.iterations - done)
        return (done / stop.iterations, (done + count) / stop.iterations), count
    seconds = stop.seconds or 0.0
    return (min(1.0, elapsed / seconds), min(1.0, (elapsed + CHUNK_S) / seconds)), variant.chunk


def _cost_of(table: Timetable, penalty: int) -> tuple[int, ...]:
    cost = table.cost
    tardiness = int(cost[TARDINESS] + penalty * cost[CHANGES])
    return (tardiness, int(cost[LATE]), int(cost[SWAPS]), int(cost[COMPLETION]))
