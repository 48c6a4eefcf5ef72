"""The wheel a team brings to lab day, and what physics expects of it: a hand-worked time beside the app's."""

from __future__ import annotations

import math
from typing import Any

import pytest

from lessons.lab import parts, physics, queries
from lessons.lab.experiment import Experiment
from lessons.science.rolling import NO_LOSS, Run
from lessons.science.values import Unknown
from submissions.models import Review, Submission
from tests.lessons.lab.test_actions import OWN, enter, new
from tests.lessons.lab.test_experiment import GOOD
from tests.submissions.make import make_submission
from tests.world import World

pytestmark = pytest.mark.django_db
SPIN = {"mass_g": 9.5, "inertia_g_mm2": 4980.0, "radius_mm": 30.0}


def version(world: World, **changes: Any) -> Submission:
    submission: Submission = make_submission(world, state="approved")
    submission.report = {**(submission.report or {}), "spin": {**SPIN, **changes}}
    submission.mass_g = 9.5
    submission.save()
    return submission


def experiment(world: World) -> Experiment:
    world.plan.content = {"experiment": GOOD}
    world.plan.save()
    world.assignment.refresh_from_db()
    found = queries.experiment_of(world.assignment)
    assert found is not None
    return found


def test_the_newest_approved_version_rolls(world: World) -> None:
    what = experiment(world)
    assert OWN not in parts.parts_of(world.assignment, world.team, what)
    version(world)
    found = parts.parts_of(world.assignment, world.team, what)[OWN]
    assert found.wheel is not None
    assert found.wheel.mass_kg.value == pytest.approx(0.0095)
    assert found.wheel.inertia_kg_m2.value == pytest.approx(4.98e-6)


def test_expected_time_by_hand(world: World) -> None:
    """54.3 g of cart, four wheels of 9.5 g, 49.8 g cm2 and R 30 mm, 3.0 m long, 0.3 m high, no load: m_t 0.0923 kg,
    4 I / R^2 0.02213 kg, a = 9.80665 x 0.1 x 0.0923 / 0.11443 = 0.79097, t = sqrt(6 / a) = 2.7542 s."""
    what = experiment(world)
    version(world)
    wheel = physics.wheel_in(parts.parts_of(world.assignment, world.team, what), OWN)
    assert wheel is not None
    run = physics.expected_times(what, wheel, (0.0,), NO_LOSS)[0.0]
    assert isinstance(run, Run)
    assert run.time_s.value == pytest.approx(math.sqrt(6 / 0.79097), abs=2e-3)


def test_the_class_loss_comes_from_its_times(world: World) -> None:
    what = experiment(world)
    version(world)
    wheels = {world.team.pk: parts.parts_of(world.assignment, world.team, what)}
    empty = queries.results(world.assignment, what)
    assert isinstance(physics.class_losses(what, empty, wheels), Unknown)
    for trial, time in enumerate((2.95, 2.99, 2.97), start=1):
        enter(world, new(trial=trial, measured=time))
    losses = physics.class_losses(what, queries.results(world.assignment, what), wheels)
    assert not isinstance(losses, Unknown)
    # t = 2.97 s: a = 6 / 2.97^2 = 0.68020, less than 0.79097 by (1 - c cot): c = 0.1 x (1 - 0.68020 / 0.79097) / cos
    assert losses.share.value == pytest.approx(0.1 * (1 - 0.68020 / 0.79097) / math.sqrt(1 - 0.01), abs=2e-4)


@pytest.mark.parametrize("spin", [None, {}])
def test_a_report_without_spin_has_no_wheel(world: World, spin: Any) -> None:
    what = experiment(world)
    submission = version(world)
    submission.report = {**submission.report, "spin": spin}
    submission.save()
    assert physics.wheel_in(parts.parts_of(world.assignment, world.team, what), OWN) is None


@pytest.mark.parametrize(
    ("first", "was_approved", "second", "rolls"),
    [
        ("replaced", True, "handed_in", "version 2"),  # the new one is not decided on: the old one still rolls
        ("replaced", True, "approved", "version 3"),
        ("replaced", False, "approved", "version 3"),
        ("returned", False, "handed_in", None),
        ("draft", False, "approved", "version 3"),
    ],
)
def test_only_versions_that_were_approved_roll(
    world: World, first: str, was_approved: bool, second: str, rolls: str | None
) -> None:
    what = experiment(world)
    one = version(world)
    one.state, one.version = first, 2
    one.save()
    if was_approved:
        Review.objects.create(submission=one, decision="approved")
    two = version(world)
    two.state, two.version = second, 3
    two.save()
    found = parts.parts_of(world.assignment, world.team, what)
    assert (found[OWN].name if OWN in found else None) == rolls
    assert ("own wheel, version 2" in found) is was_approved
