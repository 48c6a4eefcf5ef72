"""What the runs of a room teach, from rows to plan: queries, shrinkage, planned minutes, risks."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from planning.calibration import NEWEST_RUNS
from printing.learning import learn, lesson_of
from printing.models import Outage, Plate, Run
from printing.planner.snapshot import take_snapshot
from tests.printing.helpers import make_plate, ordered, ordered_mesh, plan_now, with_meshes

pytestmark = pytest.mark.django_db


def add_run(world, minutes: float | None, estimate_min: float = 120.0, printer: int = 0, **values) -> Run:
    """A cleared run; ``minutes`` None: nobody saw it end."""
    number = Plate.objects.count() + 100
    plate = Plate.objects.create(
        room=world.room, number=number, state="cleared", material=values.pop("material", "PLA"), colour="white",
        bed_width_mm=220, bed_depth_mm=220, mass_g=40,
    )  # fmt: skip
    started = timezone.now() - timedelta(days=30) + timedelta(hours=5 * number)
    defaults = {
        "outcome": "finished",
        "expected_end_at": started + timedelta(minutes=estimate_min),
        "ended_at": started + timedelta(hours=4),
        "print_ended_at": None if minutes is None else started + timedelta(minutes=minutes),
        "estimate_s": 60 * estimate_min,
        "estimate_g": 40.0,
    }
    return Run.objects.create(plate=plate, printer=world.printers[printer], started_at=started, **defaults | values)


def lesson(world, printer: int = 0, material: str = "PLA"):
    return lesson_of(learn(world.room.pk), world.printers[printer], material)


def test_without_runs_the_plain_estimate_stands_and_says_so(world):
    found = lesson(world)
    assert found.is_default
    assert found.duration(7200).mean == 7200
    assert found.grams(40).mean == 40
    assert found.drift is None


def test_runs_without_a_known_end_teach_no_minutes(world):
    for _ in range(20):
        add_run(world, None)
    assert lesson(world).is_default
    assert lesson(world).duration(7200).mean == 7200


@pytest.mark.parametrize("outcome", ["failed", "stopped"])
def test_runs_that_did_not_reach_their_end_teach_no_minutes(world, outcome):
    for _ in range(20):
        add_run(world, 40, outcome=outcome)
    assert lesson(world).is_default


def test_many_runs_that_took_longer_make_the_plan_longer(world):
    for _ in range(20):
        add_run(world, 150)
    assert lesson(world).duration(7200).mean == pytest.approx(9000, rel=0.02)
    assert not lesson(world).is_default


def test_another_printer_of_the_kind_learns_from_it_one_of_another_kind_does_not(world):
    for _ in range(20):
        add_run(world, 150)
    heron, swift = lesson(world, 1), lesson(world, 2)
    assert 8000 < heron.duration(7200).mean < 9100
    assert heron.kin_runs == 20
    assert not heron.is_default
    assert swift.duration(7200).mean == 7200
    assert lesson(world, 0, "PETG").is_default


def test_grams_count_when_all_was_good_and_weighed(world):
    for _ in range(20):
        add_run(world, None, weighed_g=44.0)
        add_run(world, None, weighed_g=10.0, outcome="partly_good")
    assert lesson(world).grams(40).mean == pytest.approx(44, rel=0.01)
    assert lesson(world).calibration.weighed == 20


def test_only_the_newest_runs_are_read_in_one_query(world, django_assert_num_queries):
    for minutes in [60] * 10 + [150] * NEWEST_RUNS:
        add_run(world, minutes)
    with django_assert_num_queries(1):
        learned = learn(world.room.pk)
    found = lesson_of(learned, world.printers[0], "PLA")
    assert len(found.runs) == NEWEST_RUNS
    assert found.duration(7200).mean == pytest.approx(9000, rel=0.02)


def test_another_schools_runs_teach_us_nothing(world):
    for _ in range(5):
        add_run(world, 150)
    assert learn(world.room.pk + 1000).runs == {}


def test_failures_count_by_hours_really_printed(world):
    for _ in range(20):
        add_run(world, 30, outcome="failed")
    assert sum(run.tally.hours for run in lesson(world).runs) == pytest.approx(20 * 0.5)
    assert lesson(world).failures.share > lesson(world, 2).failures.share > 0.08


def test_the_plan_and_the_run_use_what_was_learned(world):
    for _ in range(30):
        add_run(world, 180)
    with_meshes(world)
    ordered_mesh(world)
    Outage.objects.bulk_create(Outage(printer=each, since=timezone.now()) for each in world.printers[1:])
    plan_now()
    plate = Plate.objects.filter(state="planned", printer=world.printers[0]).first()
    assert plate is not None
    key = str(world.printers[0].pk)
    plain, learned = plate.estimates_s[key], plate.durations_s[key]
    assert learned == pytest.approx(lesson(world).duration(plain).mean)
    assert learned > 1.2 * plain
    planned_s = (plate.ends_at - plate.starts_at).total_seconds()
    assert 0 <= planned_s - learned < 60
    facts = world.room.plans.first().facts["risk"]
    assert 0 < facts["known"] <= facts["plates"]


def test_a_start_keeps_the_plain_estimate_apart(world):
    from printing import actions
    from tests.printing.helpers import ALL_CHECKED

    plate = make_plate(world, estimates_s={str(world.printers[0].pk): 6000.0})
    run = actions.start_plate(plate, world.printers[0], world.technician, ALL_CHECKED)
    assert run.estimate_s == 6000
    assert (run.expected_end_at - run.started_at).total_seconds() == 7200


def test_the_risk_of_a_plate_is_that_of_its_printer(world):
    from printing.planner.choose import choose
    from printing.planner.estimates import Estimates

    for _ in range(20):
        add_run(world, 125, outcome="failed")
    with_meshes(world)
    ordered_mesh(world)
    snapshot = take_snapshot(world.room.pk, timezone.now())
    choice = choose(snapshot, Estimates(snapshot), lambda share: None)
    for run in choice.option.plan.runs:
        printer = next(each for each in snapshot.printers if str(each.id) == run.printer_id)
        figures = choice.option.posed.figures[int(run.plate_id)]
        expected = snapshot.lesson(printer, "PLA").risk(figures.durations_s[printer.kind.id])
        assert choice.risks[run.plate_id] == expected
    assert snapshot.lesson(snapshot.printers[0], "PLA").failures.share > 0.25


def test_an_order_without_runs_is_planned_by_the_plain_estimate(world):
    ordered(world)
    assert learn(world.room.pk).runs == {}
