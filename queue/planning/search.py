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
from planning.moves import below, gather_kit, in_kit, one_plate, shift, unit
from planning.room import CLEAR_MIN, NEVER, Longs, Room
from planning.types import Stop

# Worth of one unit in weighted tardy minutes, for the temperature only: incumbents are compared as tuples.
LATE_WORTH, SWAP_WORTH, COMPLETION_WORTH = 0.5, 0.015, 1e-4
# First and last temperature, in prints of mean length and weight: of rooms up to so many plates, and of larger ones,
# where there is no time for more than going downhill.
MANY_PLATES = 200
TEMPERATURES, BRISK = (1.0, 0.003), (0.2, 0.001)
SYNC = 200
# A cooling takes about so many steps for each plate; more time is better spent on another than on a slower one.
STEPS_A_PLATE, MOST_CYCLES = 1500, 8
CHUNK_S = 0.04
LATE_COUNT, DONE = 0, 1
NOW, TRIAL, BEST = 0, 1, 2
# Minutes by which the decoder may put off a plate to save a swap, and how often the search tries another number.
AVERSIONS = np.array([0, 15, 60, 240, 480], np.int64)
AVERSION_MOVES = 0.01


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
def _note_late(plates, kits, kit_of, runs, served, late, clear_min):  # type: ignore[no-untyped-def]
    """For every late kit a plate that makes it so, written to ``late``; how many."""
    count = 0
    for number in range(len(kits)):
        if served[number] <= kits[number].deadline or count >= len(late):
            continue
        for row in range(len(plates)):
            done = runs[row].clear + clear_min if runs[row].state == PLACED else served[number]
            if done == served[number] and in_kit(plates[row], kit_of, number):
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
    share = 0.1
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
        if not fixed and unit(random) < AVERSION_MOVES:
            walk.aversion[TRIAL] = AVERSIONS[below(random, len(AVERSIONS))]
        elif lates > 0 and unit(random) < share:
            free = unit(random) < release
            gather_kit(
                plates, kit_of, walk.priority, walk.trial_priority, walk.trial_printer_of, late, lates, random, free
            )
        else:
            one_plate(walk.trial_priority, walk.trial_printer_of, plates, duration, late, lates, random, fixed)
        accept = walk.score[0] - temperature * np.log(max(1e-12, unit(random)))
        if not decode(room, table, walk.trial_priority, walk.trial_printer_of, np.int64(accept), walk.aversion[TRIAL]):
            continue
        score = _score(table.cost, size, penalty)
        if score <= accept:
            walk.score[0] = score
            copy(walk.priority, walk.trial_priority)
            copy(walk.printer_of, walk.trial_printer_of)
            walk.aversion[NOW] = walk.aversion[TRIAL]
            _keep_best(table, walk, penalty)


@kernel
def descend(room, table, walk, penalty, tries):  # type: ignore[no-untyped-def]
    """From the best order on, every shift and every exchange of two plates in turn, until none helps or so many were
    tried; how many were."""
    size = len(walk.priority)
    copy(walk.priority, walk.best_priority)
    copy(walk.printer_of, walk.best_printer_of)
    walk.aversion[NOW] = walk.aversion[BEST]
    tried, since = 0, 0
    while tried < tries:
        for source in range(size):
            for target in range(size):
                for exchange in range(2):
                    if target == source or (exchange == 1 and target < source):
                        continue
                    if tried >= tries or since >= 2 * size * size:
                        return tried
                    tried += 1
                    since += 1
                    copy(walk.trial_priority, walk.priority)
                    trial = walk.trial_priority
                    if exchange == 1:
                        trial[source], trial[target] = trial[target], trial[source]
                    else:
                        shift(trial, source, target)
                    limit = np.int64(walk.best_cost[TARDINESS])
                    if not decode(room, table, trial, walk.printer_of, limit, walk.aversion[NOW]):
                        continue
                    before = walk.best_cost[TARDINESS], walk.best_cost[LATE], walk.best_cost[SWAPS]
                    cost = table.cost
                    found = (cost[TARDINESS] + penalty * cost[CHANGES], cost[LATE], cost[SWAPS])
                    if found < before or (found == before and cost[COMPLETION] < walk.best_cost[COMPLETION]):
                        copy(walk.priority, trial)
                        _keep_best(table, walk, penalty)
                        since = 0
    return tried


@dataclass(slots=True)
class _Variant:
    """One walk, its scratch and its pace."""

    walk: Walk
    table: Timetable
    fixed: bool
    scale: float
    start: Start
    cycles: int = 1
    cycle: int = 0
    chunk: int = SYNC

    def run(self, room: Room, span: tuple[float, float], iterations: int, penalty: int) -> float:
        """Advance over a share of the time, ``span`` in [0, 1]; seconds it took."""
        began = monotonic()
        first, last = self._cooling(span)
        hot, cold = TEMPERATURES if len(room.plates) <= MANY_PLATES else BRISK
        warm, cool = (self.scale * hot * (cold / hot) ** share for share in (first, last))
        advance(room, self.table, self.walk, iterations, warm, cool, penalty, self.fixed)
        return monotonic() - began

    def _cooling(self, span: tuple[float, float]) -> tuple[float, float]:
        """Where in its cooling that share of the time lies. Each cycle but the first begins afresh: at the start
        or, in turn, at the best order so far."""
        cycle = min(int(span[0] * self.cycles), self.cycles - 1)
        if cycle != self.cycle:
            self.cycle = cycle
            walk, again = self.walk, cycle % 2 == 0
            walk.priority[:] = self.start.priority if again else walk.best_priority
            walk.printer_of[:] = self.start.printer_of if again else walk.best_printer_of
            walk.aversion[NOW] = self.start.aversion if again else walk.aversion[BEST]
            walk.tally[DONE] = 0
        first, last = (min(1.0, max(0.0, share * self.cycles - cycle)) for share in span)
        return first, last

    def share_out(self, steps: float) -> None:
        """So many cycles as that number of steps is good for."""
        wanted = STEPS_A_PLATE * len(self.walk.priority)
        self.cycles = int(min(max(steps / wanted, 1), MOST_CYCLES))

    def polish(self, room: Room, stop: Stop, penalty: int) -> None:
        """Go downhill from the best order of this walk: a tenth more steps, or one chunk by the clock."""
        tries = self.chunk if stop.iterations is None else stop.iterations // 10
        if len(self.walk.priority) > 1:
            descend(room, self.table, self.walk, penalty, tries)


def anneal(room: Room, starts: tuple[Start, Start], stop: Stop, seed: int, penalty: int) -> Iterator[Start]:
    """Each solution that is better than all before it, the first start included, until ``stop``. The second variant,
    with printers fixed, begins at the second start."""
    start, scale = starts[0], _typical_cost(room)
    variants = [
        _Variant(_walk(its, 2 * seed + fixed), empty_timetable(room), bool(fixed), scale, its)
        for fixed, its in enumerate(starts)
    ]
    if stop.iterations is not None:
        for variant in variants:
            variant.share_out(stop.iterations)
    table = variants[0].table
    decode(room, table, start.priority, start.printer_of, REJECTED, np.int64(start.aversion))
    best = _cost_of(table, penalty)
    began = monotonic()
    done = 0
    over = False
    with ThreadPoolExecutor(len(variants), thread_name_prefix="plan") as pool:
        while not over:
            elapsed = monotonic() - began
            over = (stop.iterations is not None and done >= stop.iterations) or elapsed >= (stop.seconds or np.inf)
            if over:
                for job in [pool.submit(variant.polish, room, stop, penalty) for variant in variants]:
                    job.result()
            else:
                done += _advance_all(pool, variants, room, stop, (done, elapsed), penalty)
            for variant in variants:
                walk = variant.walk
                found = tuple(int(value) for value in walk.best_cost)
                if found < best:
                    best = found
                    yield Start(walk.best_priority.copy(), walk.best_printer_of.copy(), int(walk.aversion[BEST]))


def _advance_all(
    pool: ThreadPoolExecutor,
    variants: list[_Variant],
    room: Room,
    stop: Stop,
    so_far: tuple[int, float],
    penalty: int,
) -> int:
    """One chunk of each walk, side by side; ``so_far``: steps and seconds done before. Steps the first took."""
    jobs = []
    for variant in variants:
        span, count = _next_chunk(variant, stop, *so_far)
        jobs.append((variant, count, pool.submit(variant.run, room, span, count, penalty)))
    for variant, count, job in jobs:
        pace = max(job.result(), 1e-6) / count
        if stop.iterations is None:
            if so_far[0] == 0:  # only now the pace is known
                variant.share_out((stop.seconds or 0.0) / pace)
            variant.chunk = int(min(max(CHUNK_S / pace, 1), 100_000))
    return jobs[0][1]


def _typical_cost(room: Room) -> float:
    """What it costs when a plate waits for another, in weighted minutes: mean printing time x mean weight of a kit."""
    minutes = np.where(room.duration > 0, room.duration, 0).max(axis=1).mean()
    due = room.kits["weight"][room.kits["deadline"] < NEVER]
    return float(max(1.0, minutes * (due.mean() if len(due) else 1.0)))


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
