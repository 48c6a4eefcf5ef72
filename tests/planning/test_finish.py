"""The proof at the end of a plan, against everything the decoder can make, dynamic programming and known optima."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest

from planning.clashes import clashing_pins
from planning.decoder import REJECTED, ZERO, decode, empty_timetable
from planning.finish import Limit, finish, key_of
from planning.room import compile_problem
from planning.schedule import _candidate, rule_plans, solve
from planning.search import Start
from planning.types import Kit, Outage, Pin, Plan, PlateJob, Problem, RoomRules, Stop
from planning.verify import violations
from tests.planning.rooms import job, printer, random_room, school_calendar, textbook

LIMIT = Limit(work=20.0)
UNPROVED = Stop(iterations=400, prove=False)


def hurried(problem: Problem) -> Problem:
    """The same room with all kits due four times as soon: something is late for certain."""

    def sooner(kit: Kit) -> Kit:
        due = kit.deadline_minute
        return kit if due is None else replace(kit, deadline_minute=problem.now + (due - problem.now) // 4)

    return replace(problem, kits=tuple(sooner(kit) for kit in problem.kits))


def first_come(problem: Problem) -> Plan:
    return rule_plans(problem)["FIFO"]


@pytest.mark.parametrize("seed", range(12))
def test_no_list_the_decoder_can_follow_beats_what_is_proved(seed: int) -> None:
    """All orders and all fixed printers of four plates on two printers."""
    problem = hurried(random_room(seed, printers=2, plates=4))
    plan = solve(problem, UNPROVED)
    found = finish(problem, plan, LIMIT)
    assert found.is_optimal
    assert violations(problem, found.plan) == []
    compiled = compile_problem(problem)
    table = empty_timetable(compiled.room)
    rows = range(len(compiled.plates))
    for order in permutations(rows):
        for fixed in product((-1, *range(len(compiled.printers))), repeat=len(rows)):
            priority, printer_of = np.array(order, np.int32), np.array(fixed, np.int32)
            eligible = all(at < 0 or compiled.room.duration[row, at] > 0 for row, at in enumerate(fixed))
            if eligible and decode(compiled.room, table, priority, printer_of, REJECTED, ZERO):
                other = _candidate(problem, compiled, table, Start(priority, printer_of), "list")
                if len(other.plan.unplaced) <= len(found.plan.unplaced):
                    assert key_of(problem, found.plan) <= other.key


@pytest.mark.parametrize("seed", range(6))
def test_one_machine_against_dynamic_programming_over_subsets(seed: int) -> None:
    """1 || sum w T by the recursion of M. Held and R. M. Karp (J. SIAM 10, 1962) over sets of finished jobs."""
    random = np.random.default_rng(seed)
    minutes, weights = random.integers(1, 100, 9), random.integers(1, 11, 9)
    due = random.integers(0, int(minutes.sum() * 0.7), 9)
    best = {0: 0}
    for done in range(1, 1 << 9):
        end = sum(int(minutes[at]) for at in range(9) if done >> at & 1)
        best[done] = min(
            best[done & ~(1 << at)] + int(weights[at]) * max(0, end - int(due[at])) for at in range(9) if done >> at & 1
        )
    problem = textbook(minutes.tolist(), due.tolist(), weights.tolist())
    found = finish(problem, first_come(problem), LIMIT)
    assert found.proved >= 1
    assert found.plan.objective.weighted_tardiness == found.bound == best[(1 << 9) - 1]


def test_a_better_plan_is_found_and_what_cannot_be_better_is_kept() -> None:
    problem = textbook([10, 10, 13, 4], [4, 2, 1, 12], [14, 12, 1, 12])
    found = finish(problem, first_come(problem), LIMIT)
    assert (found.plan.objective.weighted_tardiness, found.is_optimal) == (408, True)  # as in test_schedule
    again = finish(problem, found.plan, LIMIT)
    assert again.plan is found.plan


def test_the_proof_is_repeatable_and_does_not_depend_on_the_order_of_the_input() -> None:
    problem = hurried(random_room(12, printers=3, plates=8))
    other = replace(
        problem,
        printers=problem.printers[::-1],
        plates=problem.plates[::-1],
        kits=problem.kits[::-1],
    )
    one, two = (finish(each, solve(each, UNPROVED), LIMIT) for each in (problem, other))
    assert (one.plan, one.proved, one.bound) == (two.plan, two.proved, two.bound)
    assert solve(problem, Stop(iterations=200)) == solve(other, Stop(iterations=200))


def test_without_time_the_plan_is_kept_and_nothing_is_claimed() -> None:
    problem = hurried(random_room(12, printers=3, plates=8))
    plan = solve(problem, UNPROVED)
    found = finish(problem, plan, Limit(seconds=0.0))
    assert (found.plan, found.proved, found.is_optimal) == (plan, 0, False)


@pytest.mark.parametrize("seed", range(20, 40))
def test_whatever_the_room_the_proof_breaks_no_rule_and_is_never_worse(seed: int) -> None:
    problem = random_room(seed, printers=3, plates=7)
    plan = solve(problem, Stop(iterations=20, prove=False))
    found = finish(problem, plan, Limit(work=1.0))
    assert violations(problem, found.plan) == []
    assert key_of(problem, found.plan) <= key_of(problem, plan)
    assert found.bound <= key_of(problem, found.plan)[0]
    placed = {run.plate_id for run in plan.runs}
    assert placed <= {run.plate_id for run in found.plan.runs}


def test_solve_proves_the_end_when_few_plates_are_left() -> None:
    """The search leaves swaps that the proof saves (found among random rooms)."""
    saved = 0
    for seed in range(8):
        problem = hurried(random_room(seed, printers=2, plates=8))
        searched = solve(problem, UNPROVED)
        proved = solve(problem, replace(UNPROVED, prove=True))
        assert key_of(problem, proved) <= key_of(problem, searched)
        saved += key_of(problem, proved) < key_of(problem, searched)
    assert saved


# --- pins that cannot all hold ----------------------------------------------------------------------------------------


def room(*plates: PlateJob, rules: RoomRules | None = None, **of_printer: object) -> Problem:
    return Problem(school_calendar(), 480, (printer("A", **of_printer), printer("B")), plates, (), rules or RoomRules())


def test_pins_that_can_hold_clash_with_nothing() -> None:
    assert clashing_pins(room(job("a", 60, "AB"), job("b", 60, "AB"))) == ()
    fine = room(job("a", 60, "AB", pin=Pin("A", 480)), job("b", 60, "AB", pin=Pin(after_plate_ids=("a",))))
    assert clashing_pins(fine) == ()


def test_only_the_pins_that_stand_in_each_others_way_are_named() -> None:
    problem = room(
        job("a", 60, "AB", pin=Pin("A", 480)),
        job("b", 60, "AB", pin=Pin("A", 500)),
        job("c", 60, "AB", pin=Pin("B", 600)),
        job("d", 60, "AB", pin=Pin("B")),
    )
    (clash,) = clashing_pins(problem, {"a": "plate 1"})
    assert {part.plate_id for part in clash.pins} == {"a", "b"}
    assert len(clash.pins) == 4, "both printers and both starts are needed for it"
    assert clash.sentence.startswith("These cannot all hold: plate 1 on Printer A; plate 1 at Mon 02 Nov 08:00;")
    assert "plate b at Mon 02 Nov 08:20" in clash.sentence


def test_a_circle_one_impossible_minute_and_one_technician() -> None:
    circle = room(job("a", 60, pin=Pin(after_plate_ids=("b",))), job("b", 60, pin=Pin(after_plate_ids=("a",))))
    assert [part.plate_id for part in clashing_pins(circle)[0].pins] == ["a", "b"]
    order = room(
        job("a", 60, "AB", pin=Pin(setup_start=600, after_plate_ids=("b",))),
        job("b", 60, "AB", pin=Pin(setup_start=700)),
    )
    (clash,) = clashing_pins(order)
    assert "plate a after plate b" in clash.sentence
    lunch = room(job("a", 60, pin=Pin(setup_start=725)))
    (clash,) = clashing_pins(lunch)
    assert clash.sentence.startswith("This cannot hold: plate a at Mon 02 Nov 12:05.")
    assert "Nobody is free" in clash.sentence
    together = room(job("a", 60, "A", pin=Pin(setup_start=600)), job("b", 60, "B", pin=Pin(setup_start=602)))
    (clash,) = clashing_pins(together)
    assert {part.plate_id for part in clash.pins} == {"a", "b"}, "one technician sets up one printer at a time"


def test_an_outage_clashes_with_what_was_published() -> None:
    shown = {"published_printer_id": "A", "published_setup_start": 500}
    problem = room(job("a", 60, "AB", **shown), rules=RoomRules(frozen_min=60), outages=(Outage(480, 900),))
    (clash,) = clashing_pins(problem)
    assert "as was published" in clash.sentence
    assert "out of service" in clash.sentence
