"""Whether a better plan is worth its changes: technicians prepare spools and files by what they were shown."""

from __future__ import annotations

from dataclasses import dataclass, replace

from planning.price import CHANGE_WORTH_MIN, priced
from planning.types import Kit, Plan, Problem
from planning.verify import changes_in, evaluate, violations
from printing.planner.options import Option, worth_of
from printing.planner.problem import plan_in_force
from printing.planner.values import Snapshot


@dataclass(frozen=True)
class Stay:
    """A better plan was found and not taken: it would have changed so many starts (0: it would have laid everything out
    anew) and saved so many minutes of lateness, and of waiting of an average team."""

    changes: int
    late_min: int
    waiting_min: int


def in_order(snapshot: Snapshot, problem: Problem) -> Problem:
    """The same room, in which every kit is wanted now, the more the earlier it stands in the queue; a change costs what
    it is worth by these weights."""
    first: dict[str, tuple[bool, int, int]] = {}
    for copy in snapshot.copies.values():
        if copy.kit_id is not None:
            first[copy.kit_id] = min(copy.rank, first.get(copy.kit_id, copy.rank))
    place = {kit_id: at for at, kit_id in enumerate(sorted(first, key=lambda kit_id: first[kit_id]))}
    kits = tuple(Kit(kit.id, problem.now, len(place) - place[kit.id] if kit.id in place else 0) for kit in problem.kits)
    return priced(replace(problem, kits=kits))


def in_force(snapshot: Snapshot, option: Option) -> Plan | None:
    """The plan last shown, if it still holds for every plate of this arrangement; None when it does not."""
    problem = option.posed.problem
    shown = plan_in_force(option.posed, snapshot)
    placed = {run.plate_id for run in option.plan.runs}
    if shown is None or {run.plate_id for run in shown.runs} != placed:
        return None
    plan = replace(
        shown,
        unplaced=option.plan.unplaced,
        clears=option.plan.clears,
        released=option.plan.released,
        method="plan in force",
    )
    plan = replace(plan, objective=evaluate(problem, plan))
    return None if violations(problem, plan) else plan


def stay_or_change(snapshot: Snapshot, option: Option) -> tuple[Option, Stay | None]:
    """The option with the plan in force where the new one's gain does not pay for its changes, and what was not taken.

    Every start moved within the hours that are published must save its price (``planning.price``) in lateness or,
    where nobody is later for it, in the teams' waiting as the queue weighs them; a swap of spools saved counts as the
    minutes it takes. A plan that moves only later starts must be worth the price of one.
    """
    kept = in_force(snapshot, option)
    if kept is None:
        return option, None
    problem = option.posed.problem
    changes = _changes(problem, kept, option.plan)
    if not changes:
        return replace(option, plan=kept, worth=worth_of(option.posed, kept, option.misfits)), None
    cost, old = option.plan.objective, kept.objective
    saved = old.weighted_tardiness - cost.weighted_tardiness
    swaps_min = (old.swaps - cost.swaps) * problem.rules.swap_min
    waiting_min = _waiting_saved(snapshot, problem, kept, option.plan)
    paid = max(1, changes_in(problem, option.plan.runs))
    pays_late = saved >= problem.rules.change_penalty * paid
    pays_waiting = saved >= 0 and waiting_min + swaps_min >= CHANGE_WORTH_MIN * paid
    if cost.late_weight < old.late_weight or pays_late or pays_waiting:
        return option, None
    told = Stay(changes, saved, round(waiting_min)) if saved > 0 or waiting_min >= 1 else None
    return replace(option, plan=kept, worth=worth_of(option.posed, kept, option.misfits)), told


def _changes(problem: Problem, before: Plan, after: Plan) -> int:
    """Starts on another printer or moved by more than the room minds."""
    old = {run.plate_id: run for run in before.runs}
    return sum(
        run.printer_id != old[run.plate_id].printer_id
        or abs(run.setup_start - old[run.plate_id].setup_start) > problem.rules.change_tolerance_min
        for run in after.runs
        if run.plate_id in old
    )


def _waiting_saved(snapshot: Snapshot, problem: Problem, before: Plan, after: Plan) -> float:
    """Minutes of waiting saved, summed over teams, those early in the queue weighing more; the mean weight is 1."""
    wished = in_order(snapshot, problem)
    weights = [kit.weight for kit in wished.kits if kit.weight]
    if not weights:
        return 0.0
    saved = evaluate(wished, before).weighted_tardiness - evaluate(wished, after).weighted_tardiness
    return saved * len(weights) / sum(weights)
