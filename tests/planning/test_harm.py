"""The most harmful failure in rooms small enough to say by hand."""

from __future__ import annotations

import math

import pytest

from planning.forecast import play
from planning.harm import most_harmful, outlook_of
from planning.schedule import solve
from planning.types import Kit, Plan, PlateJob, Problem, Risk, Stop
from tests.planning.rooms import job, printer, random_room, school_calendar

SAMPLES = 4000
TOLERANCE = 4 * math.sqrt(0.25 / SAMPLES)


def shared_and_alone() -> tuple[Problem, Plan]:
    """Plate "three" serves three kits on printer A, plate "one" a fourth on B; nothing can be printed twice in time."""
    due = 480 + 5 + 120 + 10
    kits = tuple(Kit(name, due, 1) for name in "wxyz")
    three = PlateJob("three", ("w", "x", "y"), "PLA", "red", 10, {"A": 120})
    problem = Problem(
        school_calendar(staff=2), 480, (printer("A"), printer("B")), (three, job("one", 120, "B", "z")), kits
    )
    return problem, solve(problem, Stop(iterations=50))


def test_the_plate_that_serves_most_teams_is_the_most_harmful_to_lose() -> None:
    problem, plan = shared_and_alone()
    found = most_harmful(problem, plan, Risk(fail_per_start=0.1), samples=SAMPLES)
    assert [each.plate_id for each in found] == ["three", "one"]
    worst = found[0]
    assert worst.before.chance_all == pytest.approx(0.9 * 0.9, abs=TOLERANCE)
    assert worst.before.expected_kits == pytest.approx(3 * 0.9 + 0.9, abs=4 * TOLERANCE)
    assert worst.after.chance_all == 0.0
    assert worst.after.expected_kits == pytest.approx(0.9, abs=TOLERANCE)
    assert worst.fail_chance == pytest.approx(0.1, abs=TOLERANCE)
    assert set(worst.hurt_kit_ids) == {"w", "x", "y"}
    assert worst.printer_id == "A"


def test_only_the_kits_asked_about_count() -> None:
    problem, plan = shared_and_alone()
    found = most_harmful(problem, plan, Risk(fail_per_start=0.1), kit_ids=["z"], samples=500)
    assert [each.plate_id for each in found] == ["one"]


def test_a_failure_early_on_a_full_printer_is_worse_than_one_at_its_end() -> None:
    """Three plates in a row on one printer, each kit due soon after its planned end: a loss at the start delays all."""
    jobs = tuple(job(f"j{at}", 100, "A", f"k{at}", queue_position=at) for at in range(3))
    ends = [480 + 115 * (at + 1) for at in range(3)]
    kits = tuple(Kit(f"k{at}", ends[at] + 5, 1) for at in range(3))
    problem = Problem(school_calendar(), 480, (printer("A"),), jobs, kits)
    plan = solve(problem, Stop(iterations=200))
    found = most_harmful(problem, plan, Risk(), samples=200)
    assert [each.plate_id for each in found] == ["j0", "j1", "j2"]
    assert all(each.fail_chance == 0 for each in found), "asked: what if; with no risk at all nothing else fails"
    assert found[0].after.expected_kits < found[2].after.expected_kits


def test_failures_that_cost_nothing_and_kits_without_deadlines_are_left_out() -> None:
    problem = Problem(school_calendar(), 480, (printer("A"),), (job("a", 60, kit="k"),), (Kit("k", 9000, 1),))
    plan = solve(problem, Stop(iterations=0))
    assert most_harmful(problem, plan, Risk(fail_per_start=0.05), samples=200) == ()
    never = Problem(school_calendar(), 480, (printer("A"),), (job("a", 60, kit="k"),), (Kit("k", None, 1),))
    assert most_harmful(never, plan, Risk(fail_per_start=0.05), samples=200) == ()


def test_the_candidates_hold_the_worst_failure_of_all() -> None:
    """Against playing the loss of every single plate."""
    for seed in (1, 2, 4):
        problem = random_room(seed, plates=20)
        plan = solve(problem, Stop(iterations=100))
        risk = Risk(fail_per_start=0.05, fail_per_hour=0.02, duration_spread=0.08)
        found = most_harmful(problem, plan, risk, samples=400)
        kits = {
            run.plate_id: outlook_of(problem, play(problem, plan, risk, 400, fails_first=(run.plate_id,))).expected_kits
            for run in plan.runs
        }
        if found:
            assert found[0].after.expected_kits <= min(kits.values()) + 0.05
        else:
            base = outlook_of(problem, play(problem, plan, risk, 400)).expected_kits
            assert min(kits.values()) >= base - 1e-9
