"""The end of a plan, proved: with few plates left, CP-SAT looks for a better plan until there is none or time is up.

The four parts of the objective are improved one after the other, each held while the next is. What is found is taken
only if the independent verifier agrees and it is better.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from time import monotonic
from typing import Any

from planning.exact import Model, build
from planning.room import compile_problem
from planning.types import Objective, Plan, PlannedClear, PlannedRun, Problem
from planning.verify import changes_in, evaluate, violations

FEW_PLATES = 10
PARTS = 4  # of the objective
SEED = 1


@dataclass(frozen=True, slots=True)
class Limit:
    """``seconds`` of the clock, and ``work`` in CP-SAT's deterministic seconds, about one of a core each: with
    ``work`` alone the answer is repeatable."""

    seconds: float | None = None
    work: float | None = None


@dataclass(frozen=True, slots=True)
class Finished:
    """``plan``: the better of the plan given and the one found. ``proved``: how many parts of the objective, from the
    first on, no plan that places the same plates can improve (4: none of them). ``bound``: what no such plan can get
    below in weighted tardiness, changes included by their penalty. ``seconds`` it took."""

    plan: Plan
    proved: int
    bound: int
    seconds: float

    @property
    def is_optimal(self) -> bool:
        """Whether it is proved that no plan is better."""
        return self.proved == PARTS


def finish(problem: Problem, plan: Plan, limit: Limit) -> Finished:
    """Prove ``plan`` to be the best there is, or find a better one, within the limit; one thread.

    Plates without a place in ``plan`` may stay so; those it places keep one.
    """
    began = monotonic()
    compiled = compile_problem(problem)
    placed = {run.plate_id for run in plan.runs}
    must = {plate.id: plate.id in placed for plate in compiled.plates}
    clearable = [clear.printer_id for clear in compiled.clears]
    released = [note.plate_id for note in compiled.released]
    built = build(problem, compiled.plates, must, clearable, released=released)
    best, proved, bound = plan, 0, 0
    for part, (expression, reached) in enumerate(zip(built.parts, key_of(problem, plan), strict=True)):
        if part == 0:
            built.model.add(expression <= reached)
            _hint(built, plan)
        solver = _solver(limit, began, PARTS - part)
        if solver is None:
            break
        built.model.minimize(expression)
        status = solver.status_name(solver.solve(built.model))
        if part == 0:
            bound = max(0, round(solver.best_objective_bound))
        if status not in ("OPTIMAL", "FEASIBLE"):
            break
        found = _plan(problem, plan, built, solver)
        if violations(problem, found):
            return Finished(plan, 0, 0, monotonic() - began)
        best = min(best, found, key=lambda each: key_of(problem, each))
        if status != "OPTIMAL":
            break
        proved += 1
        built.model.add(expression == round(solver.objective_value))
        built.model.clear_hints()  # type: ignore[no-untyped-call]
        _hint(built, found)
    return Finished(best, proved, bound, monotonic() - began)


def key_of(problem: Problem, plan: Plan) -> tuple[int, int, int, int]:
    """What plans are compared by: the objective, with the penalty for every change added to the tardiness."""
    cost = plan.objective
    tardiness = cost.weighted_tardiness + problem.rules.change_penalty * plan.changes
    return (tardiness, cost.late_weight, cost.swaps, cost.completion)


def _solver(limit: Limit, began: float, parts_left: int) -> Any | None:
    """A solver with what is left of the time; None when it is up. The first part may take most of it."""
    from ortools.sat.python import cp_model  # half a second, and only now and then

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = SEED
    # linear relaxations say little about staff and spools: without them proofs took an eighth of the time
    solver.parameters.linearization_level = 0
    share = 0.7 if parts_left == PARTS else 1 / parts_left
    if limit.seconds is not None:
        left = limit.seconds - (monotonic() - began)
        if left <= 0.01:
            return None
        solver.parameters.max_time_in_seconds = left * share
    if limit.work is not None:
        solver.parameters.max_deterministic_time = limit.work * (0.7 if parts_left == PARTS else 0.1)
    return solver


def _plan(problem: Problem, plan: Plan, built: Model, solver: Any) -> Plan:
    """The solution as a plan; what has no place keeps its note."""
    runs, clears = _read(built, solver, problem)
    placed = {run.plate_id for run in runs}
    found = Plan(
        runs=runs,
        objective=Objective(0, 0, 0, 0),
        unplaced=tuple(note for note in plan.unplaced if note.plate_id not in placed),
        clears=clears,
        released=plan.released,
        changes=changes_in(problem, runs),
        method="proof",
    )
    return replace(found, objective=evaluate(problem, found))


def _hint(built: Model, plan: Plan) -> None:
    """Tell the solver a plan it can start from."""
    runs = {run.plate_id: run for run in plan.runs}
    model = built.model
    for plate_id, its in built.plates.items():
        run = runs.get(plate_id)
        if its.optional:
            model.add_hint(its.placed, run is not None)
        if run is None:
            continue
        for variable, value in (
            (its.setup, run.setup_start),
            (its.start, run.start),
            (its.end, run.end),
            (its.clear, run.clear_start),
            (its.swap, int(run.swap)),
        ):
            model.add_hint(variable, value)
        for printer_id, here in its.on.items():
            model.add_hint(here, printer_id == run.printer_id)
    for clear in plan.clears:
        if clear.printer_id in built.clears:
            model.add_hint(built.clears[clear.printer_id], clear.clear_start)
    before: dict[str, str] = {}
    pairs = set()
    for run in sorted(plan.runs, key=lambda run: run.setup_start):
        pairs.add((before.get(run.printer_id, f"printer {run.printer_id}"), run.plate_id))
        before[run.printer_id] = run.plate_id
    for pair, literal in built.follows.items():
        model.add_hint(literal, pair in pairs)


def _read(built: Model, solver: Any, problem: Problem) -> tuple[tuple[PlannedRun, ...], tuple[PlannedClear, ...]]:
    """The runs and clears of the solution found."""
    clear_min = problem.rules.clear_min
    runs = []
    for plate_id, its in built.plates.items():
        if not solver.value(its.placed):
            continue
        printer_id = next(key for key, here in its.on.items() if solver.value(here))
        clear = solver.value(its.clear)
        runs.append(
            PlannedRun(
                plate_id=plate_id,
                printer_id=printer_id,
                swap=bool(solver.value(its.swap)),
                setup_start=solver.value(its.setup),
                start=solver.value(its.start),
                end=solver.value(its.end),
                clear_start=clear,
                clear_end=clear + clear_min,
            )
        )
    clears = tuple(
        PlannedClear(printer_id, solver.value(clear), solver.value(clear) + clear_min)
        for printer_id, clear in sorted(built.clears.items())
    )
    return tuple(sorted(runs, key=lambda run: (run.setup_start, run.printer_id))), clears
