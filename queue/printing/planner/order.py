"""The queue's order, where somebody has just changed it by hand: the plan follows at once if nobody is late for it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any

from planning.schedule import solve
from planning.types import Plan, Problem, Stop
from planning.verify import evaluate, served_minutes, violations
from printing.planner.options import SEED, Option, worth_of
from printing.planner.stay import in_force, in_order
from printing.planner.values import BY_HAND, Snapshot

IN_ORDER = "the queue's order"
FOLLOW = Stop(seconds=0.2)
# somebody asked for this change, so that it has no price; of two plans that serve the queue as well, the one that moves
# fewer starts is taken: the least penalty there is
TIE_BREAK = 1


def moved_up(causes: Iterable[Mapping[str, Any]]) -> frozenset[str]:
    """The kits that somebody has put before others in the queue."""
    moved = (str(each.get("kit", "")) for each in causes if each.get("code") in BY_HAND)
    return frozenset(kit for kits in moved for kit in kits.split())


def as_good(plan: Plan, other: Plan) -> bool:
    """Whether a plan makes nobody later, leaves nothing more out and swaps no more spools than another."""

    def hurts(each: Plan) -> tuple[int, ...]:
        cost = each.objective
        return (len(each.unplaced), cost.weighted_tardiness, cost.late_weight, cost.swaps)

    return all(mine <= theirs for mine, theirs in zip(hurts(plan), hurts(other), strict=True))


def follow(snapshot: Snapshot, option: Option, kits: Collection[str]) -> Option | None:
    """The plan in force changed so that one of ``kits`` is served earlier, as the queue says now; None when nothing
    earlier is to be had, or when somebody would be late for it. Where the plan in force does not hold any more, since a
    start has passed, the option's own stands for it."""
    problem = option.posed.problem
    if not kits or option.posed.left_out:
        return None
    kept = in_force(snapshot, option) or option.plan
    plan = solve(_wished(snapshot, problem), FOLLOW, SEED, start_from=kept)
    plan = replace(plan, objective=evaluate(problem, plan), method=IN_ORDER)
    if not as_good(plan, kept) or violations(problem, plan):
        return None
    before, after = served_minutes(problem, kept), served_minutes(problem, plan)
    least = problem.rules.change_tolerance_min
    if not any(_earlier(before.get(kit), after.get(kit), least) for kit in kits):
        return None
    return replace(option, plan=plan, worth=worth_of(option.posed, plan, option.misfits))


def _wished(snapshot: Snapshot, problem: Problem) -> Problem:
    """Every kit wanted now, the more the earlier it stands in the queue, whatever starts that moves."""
    wished = in_order(snapshot, problem)
    return replace(wished, rules=replace(wished.rules, change_penalty=TIE_BREAK))


def _earlier(before: int | None, after: int | None, least: int) -> bool:
    return before is not None and after is not None and before - after > least
