"""What would help, in rooms where the answer is known."""

from __future__ import annotations

from datetime import date

import pytest

from planning.calendar import with_extra_hours
from planning.help import Effort, Help, Remedies, Remedy, what_would_help
from planning.schedule import solve
from planning.types import Kit, PlateJob, Problem, Risk, RoomRules, Stop
from planning.variants import Lighter, with_deadline_later, with_evening, with_printer_like, with_spares
from planning.verify import violations
from tests.planning.rooms import SPRING_CHANGE_FRIDAY, job, printer, random_room, school_calendar

REPEATABLE = Effort(stop=Stop(iterations=200), samples=500, seconds=None)
NOTHING_FAILS = Risk()


def asked(problem: Problem, risk: Risk = NOTHING_FAILS, **more: object) -> dict[Remedy, list]:
    plan = solve(problem, Stop(iterations=200))
    helped = what_would_help(problem, plan, risk, effort=REPEATABLE, **more)  # type: ignore[arg-type]
    for effect in helped.effects:
        assert violations(effect.problem, effect.plan) == [], effect.sentence
    found: dict[Remedy, list] = {}
    for effect in helped.effects:
        found.setdefault(effect.remedy, []).append(effect)
    return found


def test_an_evening_rescues_a_print_that_does_not_fit_the_day() -> None:
    """500 minutes fit no day of 450; with three hours more they fit the Monday."""
    problem = Problem(school_calendar(), 480, (printer("A"),), (job("a", 500, kit="k"),), (Kit("k", 1440 * 2, 1),))
    found = asked(problem)
    evening = found[Remedy.EVENING][0]
    assert (evening.outlook.chance_all, found[Remedy.PLAN_ANEW][0].outlook.chance_all) == (1.0, 0.0)
    assert evening.minutes == 180
    assert evening.unplaced == 0
    assert "stays 3 h 00 min longer" in evening.sentence


def test_one_more_printer_makes_both_plates_in_time_and_is_named() -> None:
    jobs = (job("a", 300, kit="k"), job("b", 300, kit="k"))
    problem = Problem(school_calendar(), 480, (printer("A"),), jobs, (Kit("k", 930, 1),))
    found = asked(problem)
    assert found[Remedy.PRINTER][0].outlook.chance_all == 1.0
    assert found[Remedy.PRINTER][0].sentence == "One more printer like Printer A."
    assert found[Remedy.PLAN_ANEW][0].outlook.chance_all == 0.0


def test_a_later_date_is_looked_for_until_it_is_enough() -> None:
    jobs = tuple(job(f"j{at}", 400, kit="k") for at in range(3))
    problem = Problem(school_calendar(), 480, (printer("A"),), jobs, (Kit("k", 930, 1),))
    later = asked(problem, remedies=Remedies(later_days=(1, 2, 3)))[Remedy.LATER]
    assert {each.days_later: each.outlook.chance_all for each in later} == {1: 0.0, 2: 1.0}


def test_less_infill_takes_the_minutes_it_is_given() -> None:
    problem = Problem(school_calendar(), 480, (printer("A"),), (job("a", 120, kit="k"),), (Kit("k", 580, 1),))
    assert Remedy.LIGHTER not in asked(problem)
    found = asked(problem, remedies=Remedies(lighter={"a": Lighter({"A": 80}, 6.0)}))
    effect = found[Remedy.LIGHTER][0]
    assert effect.outlook.chance_all == 1.0
    assert (effect.grams, effect.plan.runs[0].end - effect.plan.runs[0].start) == (6.0, 80)


def test_a_spare_saves_the_run_in_which_one_copy_is_spoilt() -> None:
    """Four copies, each bad with chance 0.1, no time for a second run: good 0.9^4 = 0.656 of the time, with a fifth
    copy 0.9^5 + 5 x 0.1 x 0.9^4 = 0.919 (binomial distribution)."""
    plate = PlateJob("a", ("k",), "PLA", "red", 40.0, {"A": 80}, copies=4)
    problem = Problem(school_calendar(), 480, (printer("A"),), (plate,), (Kit("k", 480 + 5 + 100 + 10, 1),))
    plan = solve(problem, Stop(iterations=0))
    effort = Effort(stop=Stop(iterations=50), samples=20_000, seconds=None)
    # at 80 minutes there are 20 to spare before the deadline: too few for a set-up, a print of one copy and a clearing
    helped = what_would_help(problem, plan, Risk(spoil_per_copy=0.1), effort=effort)
    spare = next(effect for effect in helped.effects if effect.remedy is Remedy.SPARES)
    assert helped.now.outlook.chance_all == pytest.approx(0.9**4, abs=0.015)
    assert spare.outlook.chance_all == pytest.approx(0.9**5 + 5 * 0.1 * 0.9**4, abs=0.01)
    assert spare.grams == 50.0
    assert helped.best is not None


def test_where_nothing_is_spoilt_a_spare_only_costs_time() -> None:
    problem = Problem(school_calendar(), 480, (printer("A"),), (job("a", 60, kit="k"),), (Kit("k", 560, 1),))
    spare = asked(problem)[Remedy.SPARES][0]
    assert spare.outlook.chance_all == 0.0
    full = asked(problem, remedies=Remedies(no_room_for_spare=frozenset("a")))
    assert Remedy.SPARES not in full


def test_help_is_repeatable_and_its_time_is_bounded() -> None:
    problem = random_room(5, plates=20)
    plan = solve(problem, Stop(iterations=100))
    risk = Risk(fail_per_start=0.1, duration_spread=0.1)

    def answer(effort: Effort) -> Help:
        return what_would_help(problem, plan, risk, effort=effort)

    first, second = answer(REPEATABLE), answer(REPEATABLE)
    assert first.effects == second.effects
    ranks = [effect.rank() for effect in first.effects]
    assert ranks == sorted(ranks, reverse=True)
    hurried = answer(Effort(stop=Stop(iterations=5), samples=20, seconds=0.0))
    assert hurried.effects == ()
    assert Remedy.EVENING in hurried.not_tried


def test_variants_change_one_thing_only() -> None:
    problem = random_room(3)
    more = with_printer_like(problem, "p0")
    assert len(more.printers) == len(problem.printers) + 1
    assert all(("p0+" in plate.duration_min) == ("p0" in plate.duration_min) for plate in more.plates)
    twice = with_printer_like(more, "p0")
    assert {printer.id for printer in twice.printers} >= {"p0+", "p0++"}
    spared = with_spares(problem)
    for old, new in zip(problem.plates, spared.plates, strict=True):
        assert new == old or (new.spares, new.grams) == (1, 2 * old.grams)
    day = problem.calendar.days[0]
    longer = with_evening(problem, day, 60)
    assert longer.calendar.staff_at(day.end) == 1
    assert longer.calendar.days[0].end == day.end + 60
    assert longer.plates == problem.plates


def test_a_later_deadline_keeps_its_wall_clock_over_the_spring_change() -> None:
    calendar = school_calendar(SPRING_CHANGE_FRIDAY, 10)
    kit = Kit("k", 600, 1)  # Friday 10:00, before the clocks go forward on Sunday
    problem = Problem(calendar, 480, (), (), (kit,), RoomRules())
    moved = with_deadline_later(problem, ["k"], 1).kits[0].deadline_minute
    assert moved is not None
    moment = calendar.to_datetime(moved)
    assert (moment.date(), moment.hour, moment.minute) == (date(2026, 3, 30), 10, 0)
    assert moved - 600 == 3 * 1440 - 60


def test_extra_hours_add_staff_and_make_days() -> None:
    calendar = school_calendar(days=7)
    evening = with_extra_hours(calendar, 900, 1000, 2)
    assert [evening.staff_at(minute) for minute in (899, 900, 929, 930, 999, 1000)] == [1, 3, 3, 2, 2, 0]
    saturday = 5 * 1440 + 600
    with_saturday = with_extra_hours(calendar, saturday, saturday + 120)
    assert len(with_saturday.days) == len(calendar.days) + 1
    assert with_saturday.staffed_end(saturday) == saturday + 120
    with pytest.raises(ValueError, match="inside the calendar"):
        with_extra_hours(calendar, 100, 100)
