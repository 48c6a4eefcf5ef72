"""The room plan: which plate on which printer when.

``solve`` takes the best of the dispatch rules and of the plan in force, and lets the search improve on it. A plan in
force that still holds is itself a candidate, so that adding a printer, hours or a second technician never makes the
plan worse when ``start_from`` is given.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from time import monotonic

import numpy as np

from planning.decoder import (
    CHANGES,
    COMPLETION,
    LATE,
    PLACED,
    REJECTED,
    SWAPS,
    TARDINESS,
    ZERO,
    Timetable,
    decode,
    empty_timetable,
)
from planning.finish import FEW_PLATES, Limit, finish, key_of
from planning.kitrules import kit_orders
from planning.room import Compiled, Room, compile_problem
from planning.rules import in_pinned_order, orders
from planning.search import AVERSIONS, Start, anneal
from planning.types import Objective, Plan, PlannedRun, Problem, Stop, Unplaced
from planning.verify import changes_in, evaluate, violations
from telling import told

Key = tuple[int, int, int, int]

# With few plates left the search is short, and what is left of the time goes into the proof.
SEARCH_S, SEARCH_SHARE = 0.4, 0.3
PROOF_WORK = 4.0  # deterministic seconds of CP-SAT when no clock is to decide


@dataclass(frozen=True, slots=True)
class Candidate:
    """A plan and what it is compared by: the objective with ``change_penalty`` for every change added to tardiness."""

    key: Key
    plan: Plan
    start: Start


def solve(
    problem: Problem,
    stop: Stop,
    seed: int = 0,
    start_from: Plan | None = None,
    on_improve: Callable[[Plan], None] | None = None,
) -> Plan:
    """The best plan found until ``stop``.

    Plates that cannot be placed are in ``plan.unplaced`` with the reason; the rest is planned all the same. With
    ``stop.iterations`` only, the answer depends on nothing but problem, seed and ``start_from``, whatever the order of
    the input. With ten plates or fewer the plan is then proved or improved (``planning.finish``).
    ``on_improve`` is called with the first plan and with each better one, from this thread.
    """
    compiled = compile_problem(problem)
    best = min(_candidates(problem, compiled, start_from), key=lambda candidate: candidate.key)
    if on_improve:
        on_improve(best.plan)
    if stop.iterations == 0 or not len(compiled.plates):
        return best.plan
    began = monotonic()
    prove = stop.prove and len(compiled.plates) <= FEW_PLATES
    penalty = problem.rules.change_penalty
    starts = (best.start, _near(problem, compiled, start_from) or best.start)
    for found in anneal(compiled.room, starts, _search_part(stop) if prove else stop, seed, penalty):
        table = empty_timetable(compiled.room)
        decode(compiled.room, table, found.priority, found.printer_of, REJECTED, np.int64(found.aversion))
        better = _candidate(problem, compiled, table, found, "search")
        if better.key < best.key:
            best = better
            if on_improve:
                on_improve(best.plan)
    return _finished(problem, best.plan, stop, began, on_improve) if prove else best.plan


def _search_part(stop: Stop) -> Stop:
    """What of the time goes into the search when the end of the plan is proved after it."""
    return stop if stop.seconds is None else replace(stop, seconds=min(SEARCH_S, SEARCH_SHARE * stop.seconds))


def _finished(
    problem: Problem, plan: Plan, stop: Stop, began: float, on_improve: Callable[[Plan], None] | None
) -> Plan:
    """The plan, proved or improved in what is left of the time."""
    limit = Limit(work=PROOF_WORK) if stop.seconds is None else Limit(seconds=stop.seconds - (monotonic() - began))
    finished = finish(problem, plan, limit)
    if finished.plan is not plan and on_improve:
        on_improve(finished.plan)
    return finished.plan


def rule_plans(problem: Problem) -> dict[str, Plan]:
    """What each dispatch rule alone would give, by the rule's name: the peers a benchmark compares with."""
    compiled = compile_problem(problem)
    free = np.full(len(compiled.plates), -1, np.int32)
    table = empty_timetable(compiled.room)
    plans = {}
    for name, priority in orders(compiled).items():
        if decode(compiled.room, table, priority, free, REJECTED, ZERO):
            plans[name] = _plan(problem, compiled, table, name)
    return plans


def _candidates(problem: Problem, compiled: Compiled, start_from: Plan | None) -> list[Candidate]:
    room = compiled.room
    free = np.full(len(compiled.plates), -1, np.int32)
    named = {**orders(compiled), **kit_orders(compiled)}
    tries = [(name, Start(order, free, int(minutes))) for name, order in named.items() for minutes in AVERSIONS]
    if start_from is not None:
        tries += [("plan in force", start) for start in _from_plan(compiled, start_from)]
    best = _best_start(problem, room, tries)
    found = []
    if best is not None:
        name, start, table = best
        found.append(_candidate(problem, compiled, table, start, name))
    if start_from is not None:
        kept = _kept(problem, compiled, start_from)
        if kept is not None:
            found.append(kept)
    return found


def _near(problem: Problem, compiled: Compiled, plan: Plan | None) -> Start | None:
    """The list nearest to the plan in force, where changes cost something: few are best looked for from there."""
    if plan is None or not problem.rules.change_penalty:
        return None
    best = _best_start(problem, compiled.room, [("plan in force", start) for start in _from_plan(compiled, plan)])
    return None if best is None else best[1]


def _best_start(problem: Problem, room: Room, tries: list[tuple[str, Start]]) -> tuple[str, Start, Timetable] | None:
    """The first of the best, with its timetable; None when every order breaks a pinned order."""
    table, best = empty_timetable(room), None
    penalty, least = problem.rules.change_penalty, (REJECTED,) * 4
    for name, start in tries:
        limit = np.int64(least[0])
        if decode(room, table, start.priority, start.printer_of, limit, np.int64(start.aversion)):
            cost = table.cost
            key = (cost[TARDINESS] + penalty * cost[CHANGES], cost[LATE], cost[SWAPS], cost[COMPLETION])
            if key < least:
                least, best = key, (name, start)
    if best is None:
        return None
    decode(room, table, best[1].priority, best[1].printer_of, REJECTED, np.int64(best[1].aversion))
    return (*best, table)


def _from_plan(compiled: Compiled, plan: Plan) -> list[Start]:
    """The plan in force as lists: by set-up and by clearing, on its printers and on any. New plates come last."""
    row = {plate.id: index for index, plate in enumerate(compiled.plates)}
    column = {printer.id: index for index, printer in enumerate(compiled.printers)}
    on_its_printer = np.full(len(row), -1, np.int32)
    setup, clear = (np.full(len(row), np.iinfo(np.int32).max) for _ in range(2))
    for run in plan.runs:
        index = row.get(run.plate_id)
        if index is None:
            continue
        setup[index], clear[index] = run.setup_start, run.clear_end
        printer = column.get(run.printer_id, -1)
        if printer >= 0 and compiled.room.duration[index, printer] > 0:
            on_its_printer[index] = printer
    free = np.full(len(row), -1, np.int32)
    tries = []
    for minutes in (setup, clear):
        order = in_pinned_order(compiled.room, np.argsort(minutes, kind="stable").astype(np.int32))
        tries += [Start(order, on_its_printer), Start(order, free)]
    return tries


def _kept(problem: Problem, compiled: Compiled, plan: Plan) -> Candidate | None:
    """The plan in force as it stands, if it covers every plate that can be placed and breaks no rule."""
    ids = {plate.id for plate in compiled.plates}
    runs = tuple(run for run in plan.runs if run.plate_id in ids)
    if len(runs) != len(ids):
        return None
    running = {printer.id for printer in compiled.printers if printer.running}
    clears = tuple(clear for clear in plan.clears if clear.printer_id in running)
    kept = Plan(
        runs=runs,
        objective=Objective(0, 0, 0, 0),
        unplaced=compiled.unplaced,
        clears=clears if len(clears) == len(running) else compiled.clears,
        released=compiled.released,
        changes=changes_in(problem, runs),
        method="plan in force",
    )
    kept = replace(kept, objective=evaluate(problem, kept))
    if violations(problem, kept):
        return None
    return Candidate(key_of(problem, kept), kept, _from_plan(compiled, plan)[0])


def _candidate(problem: Problem, compiled: Compiled, table: Timetable, start: Start, method: str) -> Candidate:
    plan = _plan(problem, compiled, table, method)
    return Candidate(key_of(problem, plan), plan, start)


def _plan(problem: Problem, compiled: Compiled, table: Timetable, method: str) -> Plan:
    """The timetable with ids, its runs in order of set-up."""
    runs, lost = [], []
    for row, plate in enumerate(compiled.plates):
        run = table.runs[row]
        if run["state"] != PLACED:
            last = problem.calendar.to_datetime(problem.calendar.end)
            text = "No printer and technician are free for it before {last:%d %B %H:%M}."
            lost.append(Unplaced(plate.id, told(text, last=last)))
            continue
        clear = int(run["clear"])
        runs.append(
            PlannedRun(
                plate_id=plate.id,
                printer_id=compiled.printers[int(run["printer"])].id,
                swap=bool(run["swap"]),
                setup_start=int(run["setup"]),
                start=int(run["start"]),
                end=int(run["end"]),
                clear_start=clear,
                clear_end=clear + problem.rules.clear_min,
            )
        )
    cost = table.cost
    ids = {plate.id for plate in problem.plates}
    barred = sum(note.plate_id in ids for note in compiled.unplaced)
    objective = Objective(
        weighted_tardiness=int(cost[TARDINESS]),
        late_weight=int(cost[LATE]),
        swaps=int(cost[SWAPS]),
        completion=int(cost[COMPLETION]) + barred * (problem.calendar.end - problem.now),
    )
    return Plan(
        runs=tuple(sorted(runs, key=lambda run: (run.setup_start, run.printer_id))),
        objective=objective,
        unplaced=(*compiled.unplaced, *lost),
        clears=compiled.clears,
        released=compiled.released,
        changes=int(cost[CHANGES]),
        method=method,
    )
