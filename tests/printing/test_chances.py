"""How sure a plan is. Closed forms by hand; the forecast itself has its tests in tests/planning."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest
from django.utils import timezone

from planning.failures import WORTH_FAILURES
from planning.learned import ASSUMED
from planning.types import Risk
from printing.chance import in_100
from printing.learning import learn, lesson_of
from printing.models import Run
from printing.planner.chances import chances_of
from printing.planner.choose import choose
from printing.planner.estimates import Estimates
from printing.planner.snapshot import take_snapshot
from tests.printing.helpers import make_plate, ordered, ordered_mesh, plan_now, with_meshes

NO_RISK, CERTAIN_FAILURE = Risk(), Risk(fail_per_start=1.0)
pytestmark = pytest.mark.django_db


def test_the_assumption_is_eight_in_a_hundred_two_hour_prints():
    fails = 1 - (1 - ASSUMED.fail_per_start) * math.exp(-2 * ASSUMED.fail_per_hour)
    assert fails == pytest.approx(0.08, abs=0.005)


@pytest.mark.parametrize(("share", "shown"), [(None, None), (0.0, 0), (0.914, 91), (0.9999, 99), (1.0, 99)])
def test_nothing_is_rounded_up_to_certain(share, shown):
    assert in_100(share) == shown


def add_runs(world, outcome: str, count: int, hours: float = 2.0) -> None:
    for _ in range(count):
        plate = make_plate(world, number=Run.objects.count() + 50)
        now = timezone.now()
        start = now - timedelta(hours=hours)
        Run.objects.create(
            plate=plate, printer=world.printers[0], outcome=outcome, started_at=start, expected_end_at=now,
            ended_at=now, estimate_s=hours * 3600, estimate_g=10,
        )  # fmt: skip


@pytest.mark.parametrize(("good", "failed"), [(0, 0), (30, 0), (10, 10), (0, 3)])
def test_the_assumption_gives_way_to_the_rooms_own_runs(world, good, failed):
    ordered(world)
    add_runs(world, "finished", good)
    add_runs(world, "failed", failed)
    expected = (good + failed) * (ASSUMED.fail_per_start + 2 * ASSUMED.fail_per_hour)
    factor = (failed + WORTH_FAILURES) / (expected + WORTH_FAILURES)
    risk = lesson_of(learn(world.room.pk), world.printers[0], "PLA").risk(7200.0)
    assert risk.fail_per_start == pytest.approx(ASSUMED.fail_per_start * factor)
    assert risk.fail_per_hour == pytest.approx(ASSUMED.fail_per_hour * factor)


@pytest.fixture
def choice(world):
    with_meshes(world)
    ordered_mesh(world)
    snapshot = take_snapshot(world.room.pk, timezone.now())
    return choose(snapshot, Estimates(snapshot), lambda share: None, NO_RISK)


def test_without_risk_a_plan_in_time_is_certain_and_with_certain_failure_hopeless(choice):
    problem, plan = choice.option.posed.problem, choice.option.plan
    assert choice.chances.everything == 1.0
    assert set(choice.chances.kit.values()) == {1.0}
    hopeless = chances_of(problem, plan, CERTAIN_FAILURE, samples=50)
    assert hopeless.everything == 0.0
    assert set(hopeless.nearly_sure_at.values()) == {None}


def test_more_risk_never_helps_and_a_group_is_no_surer_than_its_teams(choice):
    problem, plan = choice.option.posed.problem, choice.option.plan
    last = 1.0
    for fail in (0.0, 0.3, 0.6, 0.9):
        found = chances_of(problem, plan, Risk(fail_per_start=fail), samples=400)
        assert found.everything <= last + 0.02
        assert min(found.kit.values()) >= min(found.group.values()) >= found.everything
        last = found.everything


def test_the_pages_show_the_chance_of_the_plan_in_force(world, signed_in):
    with_meshes(world)
    request = ordered_mesh(world)
    plan_now()
    plan = world.room.plans.first()
    shown = in_100(plan.facts["chance_by_assignment"][str(request.assignment_id)])
    words = f"{shown} in 100"
    for person, address in ((world.teacher, "/today/"), (world.teacher, "/room/"), (world.student, "/parts/")):
        assert words in signed_in(person).get(address).content.decode(), address
