"""The forecast against the plan it plays through, and against chances that can be written down."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.forecast import forecast, play
from planning.schedule import solve
from planning.types import Kit, Plan, PlateJob, Problem, Risk, RoomRules, Stop
from tests.planning.rooms import job, printer, random_room, school_calendar

SAMPLES = 20_000
# Four standard errors of a share over that many samples: wrong once in 16,000 checks.
TOLERANCE = 4 * math.sqrt(0.25 / SAMPLES)


def planned(
    *plates: PlateJob, kits: tuple[Kit, ...] = (), names: str = "A", days: int = 21, staff: int = 1
) -> tuple[Problem, Plan]:
    problem = Problem(
        school_calendar(days=days, staff=staff), 480, tuple(printer(name) for name in names), plates, kits
    )
    return problem, solve(problem, Stop(iterations=0))


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10**6))
def test_with_no_risk_the_plan_is_reproduced_to_the_minute(seed: int) -> None:
    assert_reproduced(random_room(seed), seed)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["start_min", "swap_min", "clear_min"]))
def test_actions_that_take_no_time_are_reproduced_too(seed: int, action: str) -> None:
    """A clearing of no minutes once waited for a set-up planned at the same minute: one minute late."""
    problem = random_room(seed)
    assert_reproduced(replace(problem, rules=replace(problem.rules, **{action: 0})), seed)


def assert_reproduced(problem: Problem, seed: int) -> None:
    plan = solve(problem, Stop(iterations=30), seed)
    courses = play(problem, plan, Risk(), samples=2)
    ends = {run.plate_id: run.clear_end for run in plan.runs}
    for row, plate_id in enumerate(courses.plate_ids):
        assert courses.plate_min[:, row].tolist() == [ends.get(plate_id, problem.calendar.end)] * 2
    staff = sum(run.start - run.setup_start + run.clear_end - run.clear_start for run in plan.runs)
    staff += sum(clear.clear_end - clear.clear_start for clear in plan.clears)
    assert courses.staff_min.tolist() == [staff] * 2


def test_a_plate_with_no_time_for_a_reprint_succeeds_as_often_as_it_does_not_fail() -> None:
    problem, plan = planned(job("a", 120, kit="k"), kits=(Kit("k", 480 + 5 + 120 + 10, 1),))
    for risk, chance in (
        (Risk(fail_per_start=0.3), 0.7),
        (Risk(fail_per_hour=0.2), math.exp(-0.2 * 2)),
        (Risk(fail_per_start=0.1, fail_per_hour=0.2), 0.9 * math.exp(-0.2 * 2)),
        (Risk(duration_spread=0.2), 0.5),  # late by a minute or more, half of the time: the median is the plan
    ):
        found = forecast(problem, plan, risk, SAMPLES).kits[0].chance
        # Minutes are whole: about 1/2 min of a spread of 24 min is rounded down to on time.
        assert found == pytest.approx(chance, abs=TOLERANCE + (0.012 if risk.duration_spread else 0))


def test_a_second_try_squares_the_chance_of_failing() -> None:
    """A deadline after two full tries: late only if both fail. (A failed try is shorter than a full one.)"""
    problem, plan = planned(job("a", 60, kit="k"), kits=(Kit("k", 480 + 2 * 75, 1),))
    found = forecast(problem, plan, Risk(fail_per_start=0.3), SAMPLES)
    three_tries = 0.3**3
    assert 1 - 0.3**2 - TOLERANCE <= (found.kits[0].chance or 0) <= 1 - three_tries + TOLERANCE


def test_the_number_of_starts_is_that_of_the_geometric_law() -> None:
    """1 / (1 - p) starts per good plate: 1.25 at p = 0.2, each with 15 minutes of staff."""
    problem, plan = planned(job("a", 60))
    assert forecast(problem, plan, Risk(fail_per_start=0.2), SAMPLES).technician_hours == pytest.approx(
        15 * 1.25 / 60, rel=0.02
    )


def test_teams_that_share_a_plate_fail_together_and_others_do_not() -> None:
    due = 480 + 5 + 60 + 10
    kits = (Kit("k", due, 1), Kit("l", due, 1))
    risk = Risk(fail_per_start=0.3)
    both = PlateJob("a", ("k", "l"), "PLA", "red", 10, {"A": 60})
    shared, plan = planned(both, kits=kits)
    together = forecast(shared, plan, risk, SAMPLES).deadlines[0]
    apart, plan = planned(job("a", 60, "A", "k"), job("b", 60, "B", "l"), kits=kits, names="AB", staff=2)
    alone = forecast(apart, plan, risk, SAMPLES).deadlines[0]
    assert together.chance_all == pytest.approx(0.7, abs=TOLERANCE)
    assert alone.chance_all == pytest.approx(0.49, abs=TOLERANCE)
    assert (together.expected_kits, alone.expected_kits) == (
        pytest.approx(1.4, abs=2 * TOLERANCE),
        pytest.approx(1.4, abs=2 * TOLERANCE),
    )


def test_a_failure_over_night_is_found_in_the_morning() -> None:
    """Started at 15:00 to run all night; whatever happens after 15:30 is seen at 8:00."""
    calendar = school_calendar(days=4)
    night = printer("A", ready=900, may_run_unattended=True)
    problem = (
        Problem(calendar, 900, (night,), (job("a", 600, kit="k"),), (), RoomRules(unattended_allowed=True))
        if 0
        else (Problem(calendar, 900, (night,), (job("a", 600),), (), RoomRules(unattended_allowed=True)))
    )
    plan = solve(problem, Stop(iterations=0))
    assert plan.runs[0].clear_start == 1440 + 480
    minutes = play(problem, plan, Risk(fail_per_hour=0.05), 4000).plate_min[:, 0]
    first_try = (minutes == 1440 + 490).mean()
    assert first_try == pytest.approx(math.exp(-0.05 * 10), abs=4 * math.sqrt(0.25 / 4000))
    assert np.all(minutes[minutes != 1440 + 490] >= 1440 + 490 + 5 + 600)


def test_more_risk_never_helps_and_the_same_seed_gives_the_same_luck() -> None:
    problem = random_room(4, plates=20)
    plan = solve(problem, Stop(iterations=50))
    calm, rough = (forecast(problem, plan, Risk(rate, 0, 0), 4000, seed=1).kits for rate in (0.02, 0.25))
    assert all(
        (b.chance or 0) <= (a.chance or 0) + 1e-9 for a, b in zip(calm, rough, strict=True) if a.chance is not None
    )
    assert forecast(problem, plan, Risk(0.1), 500, seed=5) == forecast(problem, plan, Risk(0.1), 500, seed=5)
    assert forecast(problem, plan, Risk(0.1), 500, seed=5) != forecast(problem, plan, Risk(0.1), 500, seed=6)


def test_risk_by_plate_and_ready_times() -> None:
    kits = (Kit("k", 5000, 1), Kit("l", 5000, 1))
    problem, plan = planned(job("a", 60, "A", "k"), job("b", 60, "B", "l"), kits=kits, names="AB")
    found = {kit.kit_id: kit for kit in forecast(problem, plan, {"a": Risk(fail_per_start=0.45)}, 4000).kits}
    ends = {run.plate_id: run.clear_end for run in plan.runs}
    assert found["l"].median_ready_minute == found["l"].ninety_percent_ready_minute == ends["b"]
    assert found["k"].median_ready_minute == ends["a"]
    assert (found["k"].ninety_percent_ready_minute or 0) > ends["a"]


def test_never_within_the_calendar_is_said() -> None:
    problem, plan = planned(job("a", 400, kit="k"), kits=(Kit("k", 5000, 1),), days=1)
    found = forecast(problem, plan, Risk(fail_per_start=0.6), 2000).kits[0]
    assert found.median_ready_minute is None


def test_a_forecast_needs_a_sample_and_its_own_plan() -> None:
    problem, plan = planned(job("a", 60))
    with pytest.raises(ValueError, match="one sample"):
        forecast(problem, plan, Risk(), 0)
    other, _ = planned(job("b", 60))
    with pytest.raises(ValueError, match="does not have: a"):
        forecast(other, plan, Risk())
    with pytest.raises(ValueError, match="between 0 and 1"):
        Risk(fail_per_start=1.2)
