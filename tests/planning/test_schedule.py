"""The room plan: hand-computed small rooms, textbook optima, and rules that must hold in any room."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calendar import always_staffed
from planning.finish import key_of
from planning.schedule import rule_plans, solve
from planning.types import Kit, Objective, Outage, Pin, Plan, PlateJob, Problem, RoomRules, Stop
from planning.verify import violations
from tests.planning.rooms import job, printer, random_room, school_calendar, textbook

RULES_ONLY = Stop(iterations=0)
BRIEF = Stop(iterations=400)


def room(*plates: PlateJob, printers: tuple = (), kits: tuple = (), rules: RoomRules | None = None) -> Problem:
    return Problem(school_calendar(), 480, printers or (printer("A"),), plates, kits, rules or RoomRules())


def solved(problem: Problem, stop: Stop = RULES_ONLY, **more: object) -> Plan:
    plan = solve(problem, stop, **more)  # type: ignore[arg-type]
    assert violations(problem, plan) == []
    return plan


def in_turn(problem: Problem) -> Plan:
    """First come, first served."""
    plan = rule_plans(problem)["FIFO"]
    assert violations(problem, plan) == []
    return plan


# --- hand-computed rooms ----------------------------------------------------------------------------------------------


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


# --- pins, frozen and published starts --------------------------------------------------------------------------------


def test_pins_hold_and_the_rest_goes_around_them() -> None:
    problem = room(
        job("a", 60, "AB"),
        job("b", 60, "AB", pin=Pin(printer_id="B")),
        job("c", 30, "AB", pin=Pin(printer_id="A", setup_start=540)),
        job("d", 30, "AB", pin=Pin(after_plate_ids=("c",))),
        printers=(printer("A"), printer("B")),
    )
    plan = solved(problem, BRIEF)
    assert plan.unplaced == ()
    runs = {run.plate_id: run for run in plan.runs}
    assert runs["b"].printer_id == "B"
    assert (runs["c"].printer_id, runs["c"].setup_start) == ("A", 540)
    assert runs["d"].setup_start >= 540
    assert not (runs["a"].printer_id == "A" and runs["a"].setup_start < 540 < runs["a"].clear_end)


@pytest.mark.parametrize(
    ("pin", "because"),
    [
        (Pin(setup_start=470), "has passed"),
        (Pin(setup_start=725), "Nobody is free"),
        (Pin(setup_start=900), "staffed day ends"),
        (Pin(printer_id="B"), "not the printer it is pinned to"),
        (Pin(after_plate_ids=("b",)), "round in a circle"),
    ],
)
def test_a_pin_that_cannot_hold_leaves_the_plate_out_and_says_why(pin: Pin, because: str) -> None:
    plan = solved(room(job("a", 60, pin=pin), job("b", 60, pin=Pin(after_plate_ids=("a",)))))
    reasons = {note.plate_id: note.reason for note in plan.unplaced}
    assert because in reasons["a"]
    assert "b" in reasons, "what is pinned after it cannot be placed either"


def test_a_pinned_start_keeps_its_colour_on_the_printer() -> None:
    """The pin at 9:00 has no time set aside for a swap, so no blue plate may go before it."""
    problem = room(job("blue", 10, colour="blue"), job("red", 10, pin=Pin(setup_start=540)))
    plan = solved(problem, BRIEF)
    assert [run.plate_id for run in plan.runs] == ["red", "blue"]


def test_frozen_starts_do_not_move_even_when_moving_would_pay() -> None:
    shown = {"published_printer_id": "A", "published_setup_start": 520}
    problem = room(
        job("a", 60, **shown),
        job("b", 60, kit="k"),
        kits=(Kit("k", 560, 100),),
        rules=RoomRules(frozen_min=60),
    )
    runs = {run.plate_id: run for run in solved(problem, BRIEF).runs}
    assert (runs["a"].printer_id, runs["a"].setup_start) == ("A", 520)
    free = replace(problem, rules=RoomRules())
    assert {run.plate_id: run.setup_start for run in solved(free, BRIEF).runs}["b"] == 480


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_what_is_frozen_stays_to_the_minute_or_is_released_with_a_reason(seed: int) -> None:
    """Publish a plan, let an hour pass and a printer fail: inside the window nothing moves but for a named reason."""
    before = replace(random_room(seed), rules=RoomRules(change_penalty=0))
    shown = {run.plate_id: run for run in solve(before, Stop(iterations=60), seed).runs}
    now = before.now + 60
    plates = tuple(
        replace(
            plate,
            pin=Pin(),
            published_printer_id=shown[plate.id].printer_id if plate.id in shown else None,
            published_setup_start=shown[plate.id].setup_start if plate.id in shown else None,
        )
        for plate in before.plates
        if plate.id not in shown or shown[plate.id].setup_start >= now
    )
    broken = replace(before.printers[0], outages=(Outage(now, now + 400, "nozzle"),))
    after = replace(
        before, now=now, printers=(broken, *before.printers[1:]), plates=plates, rules=RoomRules(frozen_min=180)
    )
    plan = solve(after, Stop(iterations=60), seed)
    assert violations(after, plan) == []
    reasons = {note.plate_id: note.reason for note in (*plan.released, *plan.unplaced)}
    for plate in plates:
        start, run = plate.published_setup_start, plan.run_of(plate.id)
        if start is not None and start < now + 180 and (run is None or run.setup_start != start):
            assert reasons.get(plate.id), plate.id
        if start is not None and start < now + 180 and plate.id not in reasons:
            assert run is not None
            assert (run.printer_id, run.setup_start) == (plate.published_printer_id, start)


def test_a_frozen_start_on_a_broken_printer_is_released_with_the_reason() -> None:
    problem = room(
        job("a", 60, "AB", published_printer_id="A", published_setup_start=490),
        printers=(printer("A", outages=(Outage(480, 3000),)), printer("B")),
        rules=RoomRules(frozen_min=60),
    )
    plan = solved(problem)
    assert plan.runs[0].printer_id == "B"
    assert "out of service" in plan.released[0].reason


def test_published_starts_move_only_when_it_pays() -> None:
    """Swapping the two would save kit k 75 x 1 weighted minutes and change both published starts."""
    plates = (
        job("a", 60, published_printer_id="A", published_setup_start=480),
        job("b", 60, kit="k", published_printer_id="A", published_setup_start=555),
    )
    for penalty, first in ((0, "b"), (30, "b"), (50, "a")):
        problem = room(*plates, kits=(Kit("k", 555, 1),), rules=RoomRules(change_penalty=penalty))
        plan = solved(problem, BRIEF)
        assert plan.runs[0].plate_id == first, penalty
        assert plan.changes == (2 if first == "b" else 0)


# --- what cannot be ---------------------------------------------------------------------------------------------------


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


# --- published optima -------------------------------------------------------------------------------------------------
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


# --- what must hold in any room ---------------------------------------------------------------------------------------


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
