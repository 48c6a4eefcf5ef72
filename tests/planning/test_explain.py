"""Loads and lateness of small rooms, by hand."""

from __future__ import annotations

import pytest

from planning.explain import explain
from planning.material import longest_runs
from planning.schedule import rule_plans, solve
from planning.types import Kit, Outage, Problem, RoomRules, Stop
from tests.planning.rooms import job, printer, random_room, school_calendar


def test_loads_of_one_day() -> None:
    """Two plates of 60 min: 2 x (5 + 10) staff minutes of 420; printer A 2 x 75 min of a day of 450."""
    problem = Problem(school_calendar(), 480, (printer("A"), printer("B")), (job("a", 60), job("b", 60)), ())
    day = explain(problem, solve(problem, Stop(iterations=0))).days[0]
    assert day.technician_percent == pytest.approx(100 * 30 / 420)
    assert day.printer_percent["A"] == pytest.approx(100 * 150 / 450)
    assert day.printer_percent["B"] == 0


def test_an_outage_shortens_the_printers_day() -> None:
    broken = printer("A", outages=(Outage(780, 2000),))
    problem = Problem(school_calendar(), 480, (broken,), (job("a", 60),), ())
    assert explain(problem, solve(problem, Stop(iterations=0))).days[0].printer_percent["A"] == pytest.approx(
        100 * 75 / 300
    )


def test_a_technician_asked_too_much_of_is_told_by_how_much() -> None:
    """40 plates due in one day of 420 staff minutes: 40 x 15 = 600 minutes, 143 %, 3 h too many."""
    names = "ABCDEFGHIJ"
    kit = Kit("k", 930, 1)
    jobs = tuple(job(f"j{at:02d}", 30, names, "k") for at in range(40))
    problem = Problem(school_calendar(days=5), 480, tuple(printer(name) for name in names), jobs, (kit,))
    week = explain(problem, rule_plans(problem)["EDD"]).weeks[0]
    assert week.technician_percent == pytest.approx(100 * 600 / (5 * 420))
    one_day = Problem(school_calendar(days=1), 480, problem.printers, jobs, (kit,))
    explanation = explain(one_day, rule_plans(one_day)["EDD"])
    assert explanation.weeks[0].technician_percent == pytest.approx(100 * 600 / 420)
    assert explanation.weeks[0].too_many_min == 180


def test_printers_asked_too_much_of() -> None:
    jobs = tuple(job(f"j{at}", 400, "A", "k") for at in range(3))
    problem = Problem(school_calendar(days=2), 480, (printer("A"),), jobs, (Kit("k", 2300, 1),))
    explanation = explain(problem, solve(problem, Stop(iterations=0)))
    assert explanation.weeks[0].printer_percent == pytest.approx(100 * 3 * 415 / 900)
    assert explanation.weeks[0].technician_percent < 100
    assert [(kit.ready_minute, kit.late_min > 0) for kit in explanation.kits] == [(None, True)]


def test_lateness_of_kits() -> None:
    kits = (Kit("late", 500, 1), Kit("fine", 5000, 1), Kit("open", None, 1), Kit("done", 490, 1))
    jobs = (job("a", 60, kit="late"), job("b", 60, kit="fine"), job("c", 60, kit="open"))
    problem = Problem(school_calendar(), 480, (printer("A"),), jobs, kits)
    explanation = explain(problem, rule_plans(problem)["EDD"])
    late = {kit.kit_id: (kit.ready_minute, kit.late_min) for kit in explanation.kits}
    assert late == {"late": (555, 55), "fine": (630, 0), "open": (705, 0), "done": (480, 0)}


def test_the_longest_run_of_each_printer() -> None:
    problem = Problem(
        school_calendar(), 480, (printer("A"), printer("B", may_run_unattended=True)), (), (), RoomRules()
    )
    assert longest_runs(problem) == {"A": 445, "B": 445}


def test_every_random_room_can_be_explained() -> None:
    for seed in range(20):
        problem = random_room(seed)
        plan = solve(problem, Stop(iterations=5))
        explanation = explain(problem, plan)
        assert all(day.technician_percent <= 100 + 1e-9 for day in explanation.days), "never more than there are"
        assert sum(kit.late_min > 0 for kit in explanation.kits) >= (plan.objective.late_weight > 0)
