"""What a lesson costs the room before it is given to classes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from lessons.actions.assignments import Give, Limits, give_plan
from lessons.actions.refusals import NotPossible
from lessons.models import Assignment
from lessons.print_settings import in_force
from lessons.trying import answer_with
from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from meshcheck.check import check_part
from meshcheck.types import Limits as CheckLimits
from planning.verify import violations
from printing.giving.forms import GiveForm
from printing.giving.page import INFILLS, InfillRow, falls, infills
from printing.giving.reckon import ground, planned, reckon, wanted_parts, with_lesson
from printing.giving.values import Gift
from printing.models import PlateEstimate, PrintCopy, RoomPlan, Spool
from printing.planner.snapshot import take_snapshot
from tests.printing.helpers import ordered_mesh, plan_now, with_meshes
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db


def gifts(count: int, teams: int, days: int = 10) -> list[Gift]:
    at = timezone.now() + timedelta(days=days)
    return [Gift(number, f"class {number}", teams, at + timedelta(hours=number)) for number in range(1, count + 1)]


@pytest.fixture
def parts(world):
    with_meshes(world)
    return list(world.plan.kit_parts.all())


def test_copies_grams_and_money_by_hand(world, parts):
    """The kit times the teams and the spares, counted here anew from the rows (our own arithmetic)."""
    Spool.objects.filter(room=world.room).update(price_per_kg=Decimal("20.00"))
    found = reckon(ground(world.room, timezone.now()), parts, gifts(2, 3))
    copies = grams = spares = 0.0
    for part in parts:
        files = -(-part.copies_per_team // max(1, part.copies_in_file))
        extra = 0 if part.redesignable else -(-part.spares // max(1, part.copies_in_file))
        copies += 2 * (3 * files + extra)
        spares += 2 * extra
        grams += 2 * (3 * files + extra) * part.mass_g
    assert (found.copies, found.spares) == (copies, spares)
    assert found.grams == pytest.approx(grams)
    assert found.cost == sum(
        (Decimal(str(each.wanted_g)) * 20 / 1000).quantize(Decimal("0.01")) for each in found.filaments
    )
    assert found.plates > 0
    assert found.staff_min > 0
    assert found.problems == ()


def test_the_plan_it_rests_on_breaks_no_rule_and_nothing_is_written(world, parts):
    ordered_mesh(world)
    plan_now()
    before = (
        Assignment.objects.count(),
        PrintCopy.objects.count(),
        RoomPlan.objects.count(),
        PlateEstimate.objects.count(),
    )
    snapshot = take_snapshot(world.room.pk, timezone.now())
    then = with_lesson(snapshot, gifts(3, 4), wanted_parts(parts)[0])
    option = planned(then)
    assert violations(option.posed.problem, option.plan) == []
    assert option.worth.unplaced == 0
    placed = [place.copy_id for laid in option.posed.plates for place in laid.places]
    assert sorted(placed) == sorted(then.copies)
    found = reckon(ground(world.room, timezone.now()), parts, gifts(3, 4))
    assert [key for key, _before, _after in found.rest] == [str(world.assignment.pk)]
    after = (
        Assignment.objects.count(),
        PrintCopy.objects.count(),
        RoomPlan.objects.count(),
        PlateEstimate.objects.count(),
    )
    assert after == before


def test_more_teams_take_more_and_a_late_day_more_chance(world, parts):
    now = timezone.now()
    few, many = (reckon(ground(world.room, now), parts, gifts(1, teams)) for teams in (2, 8))
    assert many.printer_min > few.printer_min
    assert many.grams == pytest.approx(few.grams * 4, rel=0.2)  # spares do not grow with the teams
    soon = reckon(ground(world.room, now), parts, [replace(gifts(1, 8)[0], deadline=now + timedelta(hours=1))])
    assert soon.classes[0].chance < 0.05 < 0.9 < many.classes[0].chance
    assert soon.latest_start is None
    assert soon.after.late_teams == 8


THOROUGH = 5000  # steps of a search that leaves little to be found


@pytest.mark.parametrize("hour", [2, 12, 18])
def test_the_latest_day_to_start_is_the_last_one_that_serves(world, parts, monkeypatch, hour):
    """In a room with nothing else to do: planned from that morning nobody is late; two days later somebody is, or it is
    the lab day itself. (A search may miss a plan that is just in time, so the day between is not held to anything.) At
    the same moments in every run: how a search ends hangs on them."""
    now = datetime(2031, 3, 4, hour, 53, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: now)
    given = gifts(5, 10, days=21)
    found = reckon(ground(world.room, now), parts, given)
    zone = ZoneInfo(world.school.time_zone)
    assert found.latest_start is not None
    assert now.astimezone(zone).date() < found.latest_start <= given[0].deadline.astimezone(zone).date()

    def late_from(day):
        then = with_lesson(take_snapshot(world.room.pk, now), given, wanted_parts(parts)[0])
        option = planned(replace(then, now=datetime.combine(day, datetime.min.time(), zone)), steps=THOROUGH)
        return option.worth.late_weight

    assert late_from(found.latest_start) == 0
    following = found.latest_start + timedelta(days=2)
    assert following > given[0].deadline.astimezone(zone).date() or late_from(following) > 0


def test_the_latest_day_does_not_hang_on_other_classes(world, parts):
    """What waits for a nearer lab day is printed before: it does not draw the day on which the lesson must begin."""
    ordered_mesh(world)  # for a lab day in three days
    plan_now()
    found = reckon(ground(world.room, timezone.now()), parts, gifts(1, 2, days=30))
    assert found.latest_start is not None
    assert found.latest_start > (timezone.now() + timedelta(days=20)).date()


def test_plates_that_find_no_time_are_told_not_left_out(world, parts, signed_in):
    """A part that takes ten hours cannot be printed while somebody is there from 8:00 to 15:30."""
    world.chassis.duration_s = 36_000
    world.chassis.save()
    found = reckon(ground(world.room, timezone.now()), list(world.plan.kit_parts.all()), gifts(1, 2))
    assert found.unplaced >= 2  # and what stands on their plates
    (told,) = found.problems
    assert told.startswith(f"{found.unplaced} copies find no time and are not counted: ")
    assert found.latest_start is None
    teacher, page = signed_in(world.teacher), reverse("printing:plan-give", args=[world.plan.pk])
    assert "no time and " in text_of(teacher.post(page, {**form_of(world), "reckon": "yes"}))


def test_the_spools_last_or_what_to_buy(world, parts):
    found = reckon(ground(world.room, timezone.now()), parts, gifts(5, 9))
    for filament in found.filaments:
        stock = sum(
            Spool.objects.filter(room=world.room, material=filament.material, colour=filament.colour).values_list(
                "grams_left", flat=True
            )
        )
        assert filament.stock_g == stock
        assert filament.short_g == pytest.approx(max(0, filament.wanted_g - stock))


def test_a_faster_kind_of_printer_takes_fewer_minutes(world, parts):
    """Its pace is the middle of what remembered plates show: 0.4, 0.5 and 0.9 of the usual kind's printing time."""
    square, disc = world.printers[0].kind, world.printers[2].kind
    heat_s, now = square.machine_value().heat_up_s, timezone.now()
    for number, pace in enumerate((0.4, 0.9, 0.5)):
        durations = {str(square.pk): heat_s + 5000.0, str(disc.pk): heat_s + pace * 5000.0}
        answer = {"mass_g": 9.0, "durations_s": durations, "cool_down_s": durations}
        PlateEstimate.objects.create(key=str(number), answer=answer, used_at=now)
    then = with_lesson(take_snapshot(world.room.pk, now), gifts(1, 2), wanted_parts(parts)[0])
    option = planned(then)
    for laid, figures in zip(option.posed.plates, option.posed.figures, strict=True):
        alone = sum(then.copies[place.copy_id].source.duration_s - heat_s for place in laid.places)
        assert figures.durations_s[square.pk] == pytest.approx(heat_s + alone)
        assert figures.durations_s[disc.pk] == pytest.approx(heat_s + 0.5 * alone)


def test_what_was_not_measured_is_said_not_counted_as_nothing(world, parts):
    chassis = world.chassis
    chassis.report = None
    chassis.height_mm = None
    chassis.save()
    found = reckon(ground(world.room, timezone.now()), list(world.plan.kit_parts.all()), gifts(1, 2))
    assert any(str(chassis) in problem for problem in found.problems)


def test_many_choices_read_the_room_once(world, parts, django_assert_max_num_queries):
    ordered_mesh(world)
    plan_now()
    on = ground(world.room, timezone.now())
    with django_assert_max_num_queries(6):  # remembered plates, their paces, spools and prices
        found = reckon(on, parts, gifts(5, 10), quick=True)
    assert found.copies >= 5 * 10 * len(parts)
    assert len(found.classes) == 5


def form_of(world, **values):
    meeting = world.school_class.meetings.create(
        starts_at=timezone.now() + timedelta(days=12), ends_at=timezone.now() + timedelta(days=12, hours=1), period="3"
    )
    usual = {"team_size": 3, "days_before": 2, "files_max": 20}
    return {**usual, f"class-{world.school_class.pk}": "on", f"meeting-{world.school_class.pk}": meeting.pk, **values}


def test_from_the_lesson_to_the_given_class(world, parts, signed_in):
    teacher, page = signed_in(world.teacher), reverse("printing:plan-give", args=[world.plan.pk])
    assert "What does it cost the room?" in text_of(teacher.get(page))
    assert "Give to classes" in text_of(teacher.get(reverse("lessons:plan-detail", args=[world.plan.pk])))
    values = form_of(world, mass_max_g="12", minutes_max="90")
    shown = text_of(teacher.post(page, {**values, "reckon": "yes"}))
    for words in (
        "Begin by",
        "How sure each class is",
        "Does it last?",
        world.school_class.name,
    ):
        assert words in shown, words
    moved = text_of(teacher.post(page, {**values, "choices": "yes"}, headers={"HX-Request": "true"}))
    assert "<html" not in moved
    whole = text_of(teacher.post(page, {**values, "choices": "yes"}))  # without script the button does the same
    for words in ("teams of 4", "as many as fit"):
        assert words in moved, words
        assert words in whole, words
    before = Assignment.objects.count()
    assert teacher.post(page, {**values, "give": "yes"}).status_code == 302
    made = Assignment.objects.latest("pk")
    assert (Assignment.objects.count(), made.mass_max_g, made.duration_max_s) == (before + 1, 12, 5400)
    assert made.meeting.starts_at - made.upload_by == timedelta(days=2)
    again = teacher.post(page, {**values, "give": "yes"})
    assert again.status_code == 422  # that lab day is no longer offered
    assert Assignment.objects.count() == before + 1


def test_another_filling_is_estimated_from_the_layers(world, parts, signed_in):
    """What a whole check of the same file finds at that filling (meshcheck.check, without the planner)."""
    Spool.objects.filter(room=world.room).update(price_per_kg=Decimal("20.00"))
    teacher, page = signed_in(world.teacher), reverse("printing:plan-give", args=[world.plan.pk])
    values = {**form_of(world), "infills": "yes"}
    asked = text_of(teacher.post(page, values, headers={"HX-Request": "true"}))
    assert "<html" not in asked
    assert asked.count("being worked out") == len(INFILLS)
    run_waiting("measure")
    form = GiveForm(values, plan=world.plan, user=world.teacher)
    assert form.is_valid()
    now = timezone.now()
    rows = infills(lambda: ground(world.room, now), parts, form)
    (teams,) = (gift.teams for gift in form.gifts())
    for row in rows:
        expected = 0.0
        for part in parts:
            report = check_part(
                Path(part.file.path).read_bytes(), part.file_name,
                settings=replace(in_force(part), infill_share=row.share), limits=CheckLimits(),
            )  # fmt: skip
            spares = 0 if part.redesignable else part.spares
            expected += (teams * part.copies_per_team + spares) * (
                report.estimate.mass_g + report.estimate.support_g + report.estimate.raft_brim_g
            )
        assert row.answer.grams == pytest.approx(expected, rel=1e-3)
        assert row.answer.cost == pytest.approx(Decimal(str(round(expected * 0.02, 2))), abs=Decimal("0.03"))
    light, usual, stiff = (row.answer for row in rows)
    assert light.grams < usual.grams < stiff.grams
    assert light.printer_min < usual.printer_min < stiff.printer_min
    ratio = [
        answer_with(part, replace(in_force(part), infill_share=0.4)).mass_g
        / answer_with(part, replace(in_force(part), infill_share=0.1)).mass_g
        for part in parts
    ]
    assert abs(ratio[0] - ratio[1]) > 0.01, "a thin part gains less by filling than a thick one: it is no factor"
    shown = text_of(teacher.post(page, values, headers={"HX-Request": "true"}))
    assert "being worked out" not in shown
    assert "40 % filling" in shown
    assert not Job.objects.filter(kind="estimate-kit-part", state=Job.State.WAITING).exists()


def test_more_filling_in_less_time_is_explained(world, parts):
    """As the demo's hull: 103, 106 and 105 min at 10, 20 and 40 % (meshcheck.check), since 627 retractions become 177.
    Copies that find no time are no explanation: their minutes are missing."""
    answer = reckon(ground(world.room, timezone.now()), parts, gifts(1, 2), quick=True)

    def rows(*minutes, unplaced=0):
        took = [replace(answer.after, printer_min=each, unplaced=unplaced) for each in minutes]
        return [InfillRow(0.1, replace(answer, after=each)) for each in took]

    assert falls(rows(103, 106, 105))
    assert not falls(rows(103, 105, 106))
    assert not falls(rows(103, 106, 90, unplaced=9))
    assert not falls([InfillRow(0.1), InfillRow(0.2, unknown="no file")])


def test_a_part_nobody_can_estimate_is_named(world, signed_in):
    """The world's parts have figures and no file."""
    form = GiveForm(form_of(world), plan=world.plan, user=world.teacher)
    assert form.is_valid()
    parts = list(world.plan.kit_parts.all())
    infills(lambda: ground(world.room, timezone.now()), parts, form)
    run_waiting("measure")
    rows = infills(lambda: ground(world.room, timezone.now()), parts, form)
    assert all("no stored file" in row.unknown for row in rows)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"team_size": "0"}, "greater than or equal to 1"),
        ({"mass_max_g": "heavy"}, "Enter a number"),
        ({"days_before": "40"}, "must be able to hand files in"),
    ],
)
def test_bad_input_is_told_in_place(world, parts, signed_in, values, told):
    teacher, page = signed_in(world.teacher), reverse("printing:plan-give", args=[world.plan.pk])
    before = Assignment.objects.count()
    answer = teacher.post(page, {**form_of(world, **values), "give": "yes"})
    assert answer.status_code == 422
    assert told in text_of(answer)
    assert next(iter(values.values())) in text_of(answer)
    assert Assignment.objects.count() == before


def test_no_class_chosen_and_no_room(world, parts, signed_in):
    teacher, page = signed_in(world.teacher), reverse("printing:plan-give", args=[world.plan.pk])
    assert "Choose at least one class" in text_of(
        teacher.post(page, {"team_size": 3, "days_before": 2, "files_max": 9})
    )
    world.printers[0].room.printers.all().delete()
    assert teacher.post(page, {**form_of(world), "reckon": "yes"}).status_code == 200


@pytest.mark.parametrize("who", ["student", "technician", "other_teacher"])
def test_who_may_not_give(world, who, signed_in):
    person = getattr(world, who)
    assert signed_in(person).get(reverse("printing:plan-give", args=[world.plan.pk])).status_code == 404
    with pytest.raises(PermissionDenied):
        give_plan(person, world.plan, [Give(world.school_class, world.meeting, timezone.now())], Limits())


def test_another_teachers_class_is_not_given_anything(world):
    far = world.far_class.meetings.create(
        starts_at=timezone.now() + timedelta(days=12), ends_at=timezone.now() + timedelta(days=12, hours=1)
    )
    with pytest.raises(PermissionDenied):
        give_plan(world.teacher, world.plan, [Give(world.far_class, far, timezone.now() + timedelta(days=1))], Limits())


@pytest.mark.django_db(transaction=True)
def test_of_two_who_give_the_same_at_once_one_wins(world, at_once):
    meeting = world.school_class.meetings.create(
        starts_at=timezone.now() + timedelta(days=12), ends_at=timezone.now() + timedelta(days=12, hours=1)
    )
    give = Give(world.school_class, meeting, timezone.now() + timedelta(days=9))
    results = at_once(*[
        lambda who=who: give_plan(who, world.plan, [give], Limits()) for who in (world.teacher, world.administrator)
    ])  # fmt: skip
    assert sum(isinstance(result, NotPossible) for result in results) == 1, results
    (count,) = at_once(lambda: Assignment.objects.filter(meeting=meeting).count())
    assert count == 1
