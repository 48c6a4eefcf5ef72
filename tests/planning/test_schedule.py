"""The room plan: hand-computed small rooms, textbook optima, and what cannot be planned."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planning.schedule import rule_plans, solve
from planning.types import Kit, Objective, Outage, Problem, RoomRules, Stop
from tests.planning.rooms import (
    BRIEF,
    in_turn,
    job,
    printer,
    room,
    school_calendar,
    solved,
    textbook,
)


def test_one_plate_is_set_up_at_once_and_cleared_when_cool() -> None:
    run = solved(room(job("a", 60, cool_min=7))).runs[0]
    assert (run.setup_start, run.start, run.end, run.clear_start, run.clear_end) == (480, 485, 545, 552, 562)
    assert not run.swap


@pytest.mark.parametrize(
    ("change", "swap"),
    [({}, False), ({"colour": "blue"}, True), ({"material": "PETG"}, True), ({"grams": 750.001}, None)],
)
def test_another_spool_takes_a_swap(change: dict[str, object], swap: bool | None) -> None:
    plan = solved(room(job("a", 60, **change)))
    if swap is None:
        assert plan.runs == ()
        assert "a spool holds 750 g" in plan.unplaced[0].reason
    else:
        assert plan.runs[0].swap is swap
        assert plan.runs[0].start == (495 if swap else 485)


def test_the_spool_is_changed_before_it_runs_out() -> None:
    plates = [job(name, 30, grams=300.0, queue_position=at) for at, name in enumerate("abc")]
    plan = solved(room(*plates))
    assert [run.swap for run in plan.runs] == [False, False, True]


def test_nothing_starts_over_lunch_but_a_print_may_run_through_it() -> None:
    plan = in_turn(room(job("a", 225), job("b", 20, queue_position=1)))
    first, second = plan.runs
    assert (first.end, first.clear_start) == (485 + 225, 710)
    assert second.setup_start == 750, "11:50 to 12:00 is taken by the clearing; the next free minute is 12:30"


def test_a_run_that_would_outlast_the_staffed_day_waits_for_tomorrow() -> None:
    plan = in_turn(room(job("a", 300), job("b", 200, queue_position=1)))
    assert plan.runs[1].setup_start == 1440 + 480


def test_unattended_running_needs_both_the_policy_and_the_printer() -> None:
    for policy, able, expected in ((True, True, 795), (True, False, 1920), (False, True, 1920)):
        problem = room(
            job("a", 300),
            job("b", 200, queue_position=1),
            printers=(printer("A", may_run_unattended=able),),
            rules=RoomRules(unattended_allowed=policy),
        )
        assert in_turn(problem).runs[1].setup_start == expected, (policy, able)


def test_one_technician_starts_one_printer_at_a_time_two_start_two() -> None:
    plates = (job("a", 60, "AB"), job("b", 60, "AB"))
    one = room(*plates, printers=(printer("A"), printer("B")))
    assert [run.setup_start for run in solved(one).runs] == [480, 485]
    two = replace(one, calendar=school_calendar(staff=2))
    assert [run.setup_start for run in solved(two).runs] == [480, 480]


def test_a_running_print_is_cleared_first_and_its_kit_waits_for_it() -> None:
    running = printer("A", ready=500, running=True, running_plate_id="now", running_kit_ids=("k",))
    plan = solved(room(job("a", 60), printers=(running,), kits=(Kit("k", 505, 3),)))
    assert (plan.clears[0].clear_start, plan.clears[0].clear_end) == (500, 510)
    assert plan.runs[0].setup_start == 510
    assert plan.objective.weighted_tardiness == 3 * 5


def test_no_print_runs_into_an_outage() -> None:
    plan = solved(room(job("a", 60), printers=(printer("A", outages=(Outage(500, 600),)),)))
    assert plan.runs[0].setup_start == 600


def test_a_kit_is_late_by_its_last_plate() -> None:
    plan = solved(room(job("a", 60, kit="k"), job("b", 30, kit="k"), kits=(Kit("k", 560, 2),)))
    assert plan.objective == Objective(2 * (480 + 45 + 75 - 560), 2, 0, 45 + 120)


def test_plates_no_printer_can_take_are_explained_and_the_rest_is_planned() -> None:
    problem = room(
        replace(job("wide", 60, ""), barred={"A": "cannot hold a 240 mm chassis"}),
        job("long", 500),
        job("fine", 60),
    )
    plan = solved(problem)
    reasons = {note.plate_id: note.reason for note in plan.unplaced}
    assert reasons["wide"] == "Printer A cannot hold a 240 mm chassis."
    assert "8 h 20 min" in reasons["long"]
    assert "7 h 25 min" in reasons["long"]
    assert [run.plate_id for run in plan.runs] == ["fine"]


def test_what_does_not_fit_the_calendar_is_left_out_with_the_date() -> None:
    problem = replace(room(*(job(f"j{i:02d}", 400) for i in range(5))), calendar=school_calendar(days=3))
    plan = solved(problem, BRIEF)
    assert len(plan.runs) == 3
    assert all("05 November" in note.reason for note in plan.unplaced)


@pytest.mark.parametrize("printers", [(), (printer("A"),)])
def test_empty_problems_give_empty_plans(printers: tuple) -> None:
    problem = Problem(school_calendar(), 480, printers, (), ())
    assert solve(problem, Stop(iterations=10)).runs == ()
    assert solve(Problem(school_calendar(), 480, (), (job("a", 5),), ()), BRIEF).unplaced[0].plate_id == "a"


def test_bad_problems_are_refused_in_words() -> None:
    with pytest.raises(ValueError, match="Two plates have the same id"):
        room(job("a", 5), job("a", 5))
    with pytest.raises(ValueError, match="not in the problem"):
        room(job("a", 5, kit="k"))
    with pytest.raises(ValueError, match="Say when to stop"):
        Stop()


# Data and proved optima as re-stated in the project's shared textbook data (brute force over all orders); the problems
# are examples of M. Pinedo, Scheduling: Theory, Algorithms, and Systems, quoted there from memory.


@pytest.mark.parametrize(
    ("minutes", "due", "weights", "optimum"),
    [
        ([12, 8, 15, 9], [16, 26, 25, 27], [4, 5, 3, 5], 67),
        ([10, 10, 13, 4], [4, 2, 1, 12], [14, 12, 1, 12], 408),
    ],
)
def test_textbook_weighted_tardiness(minutes: list[int], due: list[int], weights: list[int], optimum: int) -> None:
    plan = solved(textbook(minutes, due, weights), Stop(iterations=2000))
    assert plan.objective.weighted_tardiness == optimum


def test_wspt_orders_by_weight_over_time() -> None:
    """Smith's rule on p = 3, 2, 6 and w = 1, 4, 2: order 2, 1, 3 with equal due dates of zero."""
    plan = rule_plans(textbook([3, 2, 6], [0, 0, 0], [1, 4, 2]))["WSPT"]
    assert [run.plate_id for run in plan.runs] == ["j001", "j000", "j002"]
    assert plan.objective.weighted_tardiness == 4 * 2 + 1 * 5 + 2 * 11


def test_two_machines_share_what_a_list_rule_leaves_uneven() -> None:
    """3, 3, 2, 2, 2 on two machines: longest first ends at 7, the optimum is 6 (R. L. Graham, SIAM J. Appl. Math. 17,
    1969). All in one kit due at 6, so that the makespan is what is late."""
    base = textbook([3, 3, 2, 2, 2], [6] * 5, [1] * 5, machines=2)
    plates = tuple(replace(plate, kit_ids=("k000",)) for plate in base.plates)
    assert solved(replace(base, plates=plates), Stop(iterations=2000)).objective.weighted_tardiness == 0
