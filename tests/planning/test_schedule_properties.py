"""What must hold in any room: no violations, the same plan for the same room, more is never worse, time limits."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calendar import always_staffed
from planning.finish import key_of
from planning.schedule import rule_plans, solve
from planning.types import Kit, Plan, Problem, RoomRules, Stop
from planning.verify import violations
from tests.planning.rooms import (
    BRIEF,
    printer,
    random_room,
    school_calendar,
)


@settings(max_examples=120, deadline=None)
@given(st.integers(0, 10**6))
def test_the_verifier_finds_nothing_in_random_rooms(seed: int) -> None:
    problem = random_room(seed)
    for plan in (*rule_plans(problem).values(), solve(problem, Stop(iterations=60), seed)):
        assert violations(problem, plan) == []


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_the_plan_does_not_depend_on_the_order_of_the_input(seed: int) -> None:
    problem = random_room(seed)
    random = np.random.default_rng(seed)

    def shuffled(values: tuple) -> tuple:
        return tuple(values[at] for at in random.permutation(len(values)))

    other = replace(
        problem,
        printers=shuffled(problem.printers),
        plates=shuffled(problem.plates),
        kits=shuffled(problem.kits),
    )
    assert solve(problem, BRIEF, 7) == solve(other, BRIEF, 7)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_more_never_makes_it_worse_when_started_from_the_plan_in_force(seed: int) -> None:
    problem = random_room(seed)
    plan = solve(problem, BRIEF)
    better = {
        "printer": replace(problem, printers=(*problem.printers, printer("extra"))),
        "hours": replace(problem, calendar=replace_days(problem, 35)),
        "deadline": replace(problem, kits=tuple(relaxed(kit) for kit in problem.kits)),
        "technician": replace(problem, calendar=one_more_technician(problem)),
    }
    for name, easier in better.items():
        improved = solve(easier, BRIEF, start_from=plan)
        assert violations(easier, improved) == []
        if not plan.unplaced:
            # changes of published starts count by their penalty
            assert key_of(easier, improved)[0] <= key_of(problem, plan)[0], name


def replace_days(problem: Problem, days: int):  # type: ignore[no-untyped-def]
    """The same staffed hours, followed by a further week."""
    longer = school_calendar(problem.calendar.origin.astimezone(UTC).date(), days)
    extra = tuple(part for part in longer.staffed if part.start >= problem.calendar.end)
    extra_days = tuple(day for day in longer.days if day.start >= problem.calendar.end)
    return replace(
        problem.calendar,
        end=longer.end,
        staffed=problem.calendar.staffed + extra,
        days=problem.calendar.days + extra_days,
    )


def one_more_technician(problem: Problem):  # type: ignore[no-untyped-def]
    """The same staffed hours with one person more."""
    calendar = problem.calendar
    return replace(calendar, staffed=tuple(replace(part, staff=part.staff + 1) for part in calendar.staffed))


def relaxed(kit: Kit) -> Kit:
    return kit if kit.deadline_minute is None else replace(kit, deadline_minute=kit.deadline_minute + 60)


def test_the_search_is_repeatable_and_never_worse_than_the_best_rule() -> None:
    problem = random_room(11, printers=5, plates=40)
    best_rule = min(plan.objective for plan in rule_plans(problem).values())
    first, second = (solve(problem, Stop(iterations=1500), 3) for _ in range(2))
    assert first == second
    assert first.objective <= best_rule


def test_each_improvement_is_reported_and_better_than_the_last() -> None:
    problem = replace(random_room(11, printers=5, plates=40), rules=RoomRules())
    reported: list[Plan] = []
    final = solve(problem, Stop(iterations=3000), 1, on_improve=reported.append)
    objectives = [plan.objective for plan in reported]
    assert objectives == sorted(objectives, reverse=True)
    assert len(set(objectives)) == len(objectives) >= 2
    assert reported[-1] == final
    assert all(violations(problem, plan) == [] for plan in reported)


def test_a_time_limit_is_kept() -> None:
    problem = random_room(11, printers=5, plates=40)
    solve(problem, Stop(iterations=1))
    began = datetime.now(UTC)
    solve(problem, Stop(seconds=0.5))
    assert (datetime.now(UTC) - began).total_seconds() < 5


def test_always_staffed_is_one_long_day() -> None:
    calendar = always_staffed(100, staff=2)
    assert (calendar.staff_at(0), calendar.staff_at(99), calendar.staff_at(100)) == (2, 2, 0)
