"""The verifier must find what is wrong: every rule broken once in an otherwise sound plan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planning.calendar import always_staffed
from planning.schedule import rule_plans, solve
from planning.types import (
    Kit,
    Objective,
    Outage,
    Pin,
    Plan,
    PlannedClear,
    PlannedRun,
    Problem,
    RoomRules,
    Stop,
    Unplaced,
)
from planning.verify import evaluate, minutes_late, served_minutes, violations
from tests.planning.rooms import job, printer, school_calendar

BASE = Problem(
    school_calendar(),
    480,
    (printer("A"), printer("B", ready=500, running=True, running_kit_ids=("k",))),
    (job("a", 60, "AB", "k"), job("b", 60, "A", colour="blue"), job("c", 60, "B")),
    (Kit("k", 600, 2),),
)
PLAN = rule_plans(BASE)["FIFO"]


def changed(plate_id: str, **more: object) -> Plan:
    runs = tuple(replace(run, **more) if run.plate_id == plate_id else run for run in PLAN.runs)  # type: ignore[arg-type]
    return replace(PLAN, runs=runs)


def shifted(plate_id: str, by: int, plan: Plan = PLAN) -> Plan:
    times = ("setup_start", "start", "end", "clear_start", "clear_end")
    runs = tuple(
        replace(run, **{name: getattr(run, name) + by for name in times}) if run.plate_id == plate_id else run
        for run in plan.runs
    )
    return replace(plan, runs=runs)


def test_a_sound_plan_has_no_violations() -> None:
    assert violations(BASE, PLAN) == []
    assert {run.plate_id for run in PLAN.runs} == {"a", "b", "c"}


@pytest.mark.parametrize(
    ("plan", "because"),
    [
        (replace(PLAN, runs=PLAN.runs[:2]), "0 times"),
        (replace(PLAN, runs=(*PLAN.runs, PLAN.runs[0])), "2 times"),
        (replace(PLAN, runs=(*PLAN.runs, replace(PLAN.runs[0], plate_id="x"))), "not in the problem"),
        (replace(PLAN, runs=PLAN.runs[:2], unplaced=(Unplaced("c", ""),)), "without a reason"),
        (changed("a", printer_id="Z"), "unknown printer"),
        (changed("c", printer_id="A"), "cannot print it"),
        (changed("a", swap=True), "not what its set-up minute implies"),
        (changed("a", end=500), "not what its set-up minute implies"),
        (changed("a", clear_end=999), "cleared too early or for the wrong time"),
        (changed("a", clear_start=500, clear_end=510), "cleared too early"),
        (shifted("b", -60), "before the printer is free"),
        (shifted("a", -10), "before now"),
        (shifted("b", 170), "nobody is there"),
        (shifted("b", 310), "still printing when it must have ended"),
        (replace(PLAN, clears=()), "never cleared"),
        (replace(PLAN, clears=(PlannedClear("B", 495, 505),)), "at the wrong time"),
        (replace(PLAN, objective=Objective(0, 0, 0, 0)), "The objective is"),
    ],
)
def test_each_broken_rule_is_found(plan: Plan, because: str) -> None:
    assert any(because in sentence for sentence in violations(BASE, plan)), violations(BASE, plan)


@pytest.mark.parametrize(
    ("problem", "because"),
    [
        (replace(BASE, printers=(replace(BASE.printers[0], outages=(Outage(500, 501),)), BASE.printers[1])), "service"),
        (replace(BASE, printers=(replace(BASE.printers[0], ready_minute=490), BASE.printers[1])), "printer is free"),
        (replace(BASE, calendar=always_staffed(600)), "after the calendar ends"),
        (replace(BASE, plates=(replace(BASE.plates[0], pin=Pin(printer_id="B")), *BASE.plates[1:])), "pinned to"),
        (replace(BASE, plates=(replace(BASE.plates[0], pin=Pin(setup_start=500)), *BASE.plates[1:])), "the minute"),
        (replace(BASE, plates=(replace(BASE.plates[0], pin=Pin(after_plate_ids=("b",))), *BASE.plates[1:])), "against"),
        (
            replace(
                BASE,
                plates=(
                    replace(BASE.plates[0], published_printer_id="A", published_setup_start=490),
                    *BASE.plates[1:],
                ),
                rules=RoomRules(frozen_min=60),
            ),
            "frozen window",
        ),
        (replace(BASE, plates=(replace(BASE.plates[0], grams=760.0), *BASE.plates[1:])), "spool runs out"),
    ],
)
def test_a_plan_is_held_against_the_room_as_it_is(problem: Problem, because: str) -> None:
    assert any(because in sentence for sentence in violations(problem, PLAN)), violations(problem, PLAN)


def test_two_actions_at_once_need_two_people() -> None:
    problem = Problem(school_calendar(), 480, (printer("A"), printer("B")), (job("a", 60, "A"), job("b", 60, "B")), ())
    runs = tuple(PlannedRun(name, name.upper(), False, 480, 485, 545, 545, 555) for name in "ab")
    plan = replace(solve(problem, Stop(iterations=0)), runs=runs)
    plan = replace(plan, objective=evaluate(problem, plan))
    assert violations(problem, plan) == [
        "2 staff actions at minute 480, with 1 staff.",
        "2 staff actions at minute 545, with 1 staff.",
    ]
    assert violations(replace(problem, calendar=school_calendar(staff=2)), plan) == []


def test_an_action_may_not_run_into_lunch() -> None:
    problem = Problem(school_calendar(), 480, (printer("A"),), (job("a", 60),), ())
    plan = shifted("a", 237, solve(problem, Stop(iterations=0)))
    assert any("with 0 staff" in sentence for sentence in violations(problem, plan))


def test_the_objective_by_hand() -> None:
    """Kit k: cleared at 560 on B's running print or with plate a; weight 2. Plate c is left out of this plan."""
    plan = replace(PLAN, runs=tuple(run for run in PLAN.runs if run.plate_id != "c"))
    ends = {run.plate_id: run.clear_end for run in plan.runs}
    late = max(0, ends["a"] - 600)
    assert served_minutes(BASE, plan) == {"k": ends["a"]}
    assert minutes_late(BASE, plan) == {"k": late}
    assert evaluate(BASE, plan) == Objective(
        2 * late, 2 * (late > 0), 1, ends["a"] + ends["b"] - 960 + BASE.calendar.end - 480
    )


def test_a_kit_with_nothing_left_to_print_is_not_late() -> None:
    problem = Problem(school_calendar(), 480, (), (), (Kit("k", 100, 5),))
    plan = solve(problem, Stop(iterations=0))
    assert plan.objective == Objective(0, 0, 0, 0)
    assert violations(problem, plan) == []
