"""Change lists of small rooms, and what must hold of any."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planning.changes import Cause, Change, change_list
from planning.schedule import solve
from planning.types import Kit, Outage, Pin, Plan, Problem, Stop
from tests.planning.rooms import job, printer, random_room, school_calendar

BRIEF = Stop(iterations=300)


def two_printers(**more: object) -> Problem:
    settings: dict[str, object] = {
        "printers": (printer("A"), printer("B")),
        "plates": (job("a", 100, "AB"), job("b", 100, "AB"), job("c", 60, "AB")),
    } | more
    return Problem(school_calendar(), 480, kits=(), **settings)  # type: ignore[arg-type]


def by_plate(problem: Problem, before: Plan, after: Plan, **more: object) -> dict[str, Change]:
    return {each.plate_id: each for each in change_list(problem, before, after, **more)}  # type: ignore[arg-type]


def test_the_same_plan_has_no_changes() -> None:
    problem = two_printers()
    plan = solve(problem, BRIEF)
    assert change_list(problem, plan, plan) == ()


def test_a_printer_out_of_service_is_the_cause_also_of_those_that_make_room() -> None:
    problem = two_printers()
    before = solve(problem, BRIEF)
    broken = replace(problem, printers=(printer("A", outages=(Outage(470, 5000, "nozzle"),)), printer("B")))
    after = solve(broken, BRIEF, start_from=before)
    result = change_list(broken, before, after)
    changes = {each.plate_id: each for each in result}
    on_a = [run.plate_id for run in before.runs if run.printer_id == "A"]
    for plate_id in on_a:
        assert changes[plate_id].cause is Cause.OUTAGE
        assert (changes[plate_id].from_printer_id, changes[plate_id].to_printer_id) == ("A", "B")
        assert changes[plate_id].moved_printer
    assert {each.root for each in result} == {Cause.OUTAGE}


def test_a_pin_a_busy_printer_a_new_plate_and_a_done_one() -> None:
    problem = two_printers(printers=(printer("A"),), plates=tuple(job(name, 100, "A") for name in "ab"))
    before = solve(problem, BRIEF)
    first, second = (run.plate_id for run in before.runs)
    pinned = replace(
        problem,
        plates=tuple(
            replace(plate, pin=Pin(after_plate_ids=(second,))) if plate.id == first else plate
            for plate in problem.plates
        ),
    )
    changes = by_plate(pinned, before, solve(pinned, BRIEF, start_from=before))
    assert changes[first].cause is Cause.PINNED
    assert (changes[first].later_min or 0) > 0
    busy = replace(problem, printers=(printer("A", ready=600),))
    changes = by_plate(busy, before, solve(busy, BRIEF, start_from=before))
    assert changes[first].cause is Cause.PRINTER_BUSY
    urgent = replace(
        problem,
        plates=(
            *(plate for plate in problem.plates if plate.id == second),
            job("urgent", 100, "A", "k"),
            job("big", 100, ""),
        ),
        kits=(Kit("k", 595, 9),),
    )
    after = solve(urgent, BRIEF, start_from=before)
    changes = by_plate(urgent, before, after)
    assert changes[first].cause is Cause.DONE
    assert changes["urgent"].cause is Cause.NEW_PLATE
    assert changes["big"].cause is Cause.NO_PLACE


def test_a_chain_of_plates_making_room_leads_to_the_new_one() -> None:
    problem = two_printers(printers=(printer("A"),), plates=tuple(job(name, 60, "A") for name in "abc"))
    before = solve(problem, BRIEF)
    order = [run.plate_id for run in before.runs]
    more = replace(problem, plates=(*problem.plates, job("new", 100, "A", "k")), kits=(Kit("k", 595, 9),))
    after = solve(more, BRIEF, start_from=before)
    assert after.runs[0].plate_id == "new"
    changes = by_plate(more, before, after)
    assert changes[order[0]].by_plate_id == "new"
    for plate_id in order:
        assert (changes[plate_id].root, changes[plate_id].root_plate_id) == (Cause.NEW_PLATE, "new")


def test_a_start_the_tolerance_covers_is_no_change() -> None:
    problem = two_printers(printers=(printer("A"),), plates=(job("a", 60, "A"),))
    before = solve(problem, BRIEF)
    later = replace(problem, now=490, printers=(printer("A", ready=490),))
    after = solve(later, BRIEF)
    assert change_list(later, before, after) == ()
    assert len(change_list(later, before, after, tolerance_min=5)) == 1


@pytest.mark.parametrize("seed", range(30))
def test_every_difference_is_listed_once_with_a_cause_that_ends(seed: int) -> None:
    problem = random_room(seed)
    before = solve(problem, Stop(iterations=50))
    victim = next((run for run in before.runs), None)
    if victim is None:
        return
    broken = replace(
        problem,
        printers=tuple(
            replace(each, outages=(*each.outages, Outage(problem.now, problem.now + 3000, "broken")))
            if each.id == victim.printer_id
            else each
            for each in problem.printers
        ),
    )
    after = solve(broken, Stop(iterations=200), start_from=before)
    listed = change_list(broken, before, after)
    ids = [each.plate_id for each in listed]
    assert len(set(ids)) == len(ids)
    old, new = ({run.plate_id: run for run in plan.runs} for plan in (before, after))
    tolerance = problem.rules.change_tolerance_min
    differing = {
        plate_id
        for plate_id in {*old, *new}
        if plate_id not in old
        or plate_id not in new
        or old[plate_id].printer_id != new[plate_id].printer_id
        or abs(old[plate_id].setup_start - new[plate_id].setup_start) > tolerance
    }
    assert differing <= set(ids)
    for each in listed:
        assert each.root is not Cause.MADE_ROOM
        if each.from_printer_id == victim.printer_id and each.from_setup_start < problem.now + 3000:
            assert each.cause in (Cause.OUTAGE, Cause.PINNED, Cause.NO_PLACE)
