"""What a room cannot plan, and why: parts no bed holds, missing files, printers out of service, empty spools."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from meshcheck import service
from printing import actions, queries
from printing.models import (
    Outage,
    Plate,
    Printer,
    PrinterKind,
    RoomPlan,
    Spool,
)
from printing.planner.problem import calendar_of
from printing.planner.snapshot import take_snapshot
from printing.reasons import words
from submissions.models import Submission
from tests.printing.helpers import ordered_mesh, plan_now, states, with_meshes

pytestmark = pytest.mark.usefixtures("short_search")


def test_a_part_too_big_for_every_bed_waits_with_its_reason(world):
    with_meshes(world)
    request = ordered_mesh(world)
    submission = request.submission
    submission.report["footprint"] = {"kind": "rectangle", "width_mm": 260.0, "depth_mm": 40.0}
    submission.width_mm, submission.depth_mm = 260.0, 40.0
    submission.save()
    plan_now()
    assert states(request) == ["waiting"] * 4
    facts = RoomPlan.objects.first().facts
    reasons = {words(facts["unplaced"][str(copy.pk)]) for copy in request.copies.all()}
    assert len(reasons) == 1
    assert "260" in reasons.pop()
    kit = next(kit for kit in facts["kits"] if kit["team"] == world.team.pk)
    assert kit["ready_at"] is None


def test_a_part_too_tall_for_one_kind_goes_on_the_other(world):
    with_meshes(world)
    tall = PrinterKind.objects.create(school=world.school, name="tall", width_mm=220, depth_mm=220, height_mm=400)
    Printer.objects.filter(pk=world.printers[1].pk).update(kind=tall)
    request = ordered_mesh(world, height_mm=8)
    request.submission.height_mm = 300.0
    request.submission.save()
    plan_now()
    plates = {copy.plate for copy in request.copies.select_related("plate")}
    assert {plate.printer_id for plate in plates} == {world.printers[1].pk}


def test_a_missing_file_is_said_and_the_rest_is_planned(world):
    with_meshes(world)
    gone, there = ordered_mesh(world), ordered_mesh(world, world.second_team, "students/otters-wheel-3.stl")
    gone.submission.file.storage.delete(gone.submission.file.name)
    plan_now()
    bad = {copy.plate for copy in gone.copies.select_related("plate")}
    assert {plate.printer for plate in bad} == {None}
    assert all("wheel.stl is missing" in plate.why_unplanned for plate in bad)
    good = {copy.plate for copy in there.copies.select_related("plate")} - bad
    assert all(plate.printer for plate in good)


def test_a_part_that_was_not_measured_waits(world):
    with_meshes(world)
    request = ordered_mesh(world)
    request.submission.mass_g = None
    request.submission.save()
    plan_now()
    assert states(request) == ["waiting"] * 4
    assert "has not been measured" in words(next(iter(RoomPlan.objects.first().facts["unplaced"].values())))


def test_out_of_service_printers_get_nothing(world):
    with_meshes(world)
    for printer in world.printers[1:]:
        Outage.objects.create(printer=printer, since=timezone.now() - timedelta(hours=1), reason="nozzle")
    ordered_mesh(world)
    plan_now()
    assert set(Plate.objects.values_list("printer_id", flat=True)) == {world.printers[0].pk}


def test_spools_that_hold_too_little_are_swapped(world):
    with_meshes(world)
    Spool.objects.update(grams_left=1.0)
    ordered_mesh(world)
    plan_now()
    first = {plate.printer_id: plate for plate in Plate.objects.order_by("-setup_at")}
    assert all(plate.swap for plate in first.values()), "a gram is not enough for anything"
    others = set(Plate.objects.all()) - set(first.values())
    assert not any(plate.swap for plate in others), "the new spool lasts"


def test_a_room_without_printers_or_hours_says_so(world):
    with_meshes(world)
    request = ordered_mesh(world)
    world.room.hours.all().delete()
    plan_now()
    assert all(copy.plate.unplanned_because for copy in request.copies.select_related("plate"))
    Spool.objects.all().delete()
    Plate.objects.update(printer=None)
    Printer.objects.all().delete()
    actions.plan_again(world.room, world.teacher)
    plan_now()
    assert set(map(words, RoomPlan.objects.first().facts["unplaced"].values())) == {"No printer has a 0.4 mm nozzle."}


def test_deadline_is_the_meeting_in_planner_minutes_across_the_clock_change(world):
    """Chicago leaves daylight saving time on 1 Nov 2026 at 02:00 (tz database): that local day has 25 hours."""
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    with_meshes(world)
    ordered_mesh(world)
    zone = ZoneInfo("America/Chicago")
    world.meeting.starts_at = datetime(2026, 11, 2, 9, 55, tzinfo=zone)
    world.meeting.ends_at = world.meeting.starts_at + timedelta(minutes=50)
    world.meeting.save()
    snapshot = take_snapshot(world.room.pk, datetime(2026, 10, 31, 10, 0, tzinfo=zone))
    calendar = calendar_of(snapshot)
    assert calendar.origin == datetime(2026, 10, 31, 5, 0, tzinfo=UTC)  # midnight in daylight saving time
    assert calendar.to_minute(snapshot.kits[0].deadline) == (24 + 25) * 60 + 9 * 60 + 55


def test_holidays_and_other_kinds_of_day(world):
    from datetime import date

    from lessons.models import SchoolDay
    from printing.hours import read_bells

    SchoolDay.objects.create(school=world.school, date=date(2026, 11, 18), name="founding day")
    bells = read_bells(world.room)
    assert bells.staffed_on(date(2026, 11, 18)) == ()
    assert [str(part.start) for part in bells.staffed_on(date(2026, 11, 17))] == ["08:00:00", "12:30:00"]
    calendar = bells.calendar(date(2026, 11, 17), 3)
    assert [day.day.day for day in calendar.days] == [17, 19]


def test_a_part_laid_otherwise_is_planned_and_plated_as_it_then_lies(world):
    with_meshes(world)
    request = ordered_mesh(world)
    edge = [[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]
    submission = request.submission
    measured_again = service.measure(submission.file.path, "w.stl", None, {}, {}, {}, None, edge)["report"]
    low = {"width_mm": 60.0, "depth_mm": 8.0, "height_mm": 60.0}
    Submission.objects.filter(pk=submission.pk).update(pose=edge, report=measured_again, **low)
    actions.plan_again(world.room, world.teacher)
    plan_now()
    plate = request.copies.first().plate
    parts = [part for part in queries.placed_parts_of(plate) if part["pose"] is not None]
    assert len(parts) == plate.copies.filter(request=request).count() > 0
    assert all([list(row) for row in part["pose"]] == edge for part in parts)
