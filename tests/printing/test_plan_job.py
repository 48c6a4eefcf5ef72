"""The room is planned end to end: real meshes, the disposable child, the solver, and what stands in the rows."""

from __future__ import annotations

from datetime import time, timedelta

import pytest
from django.utils import timezone

from makerlab.work.models import Job
from printing import actions
from printing.actions.set_up import permit_unattended
from printing.causes import cause, sentence
from printing.models import (
    Plate,
    PlateEstimate,
    PrintCopy,
    PrintRequest,
    Room,
    RoomHours,
    RoomPlan,
    Run,
)
from printing.planner import choose as choosing
from printing.planner.estimates import Estimates
from printing.planner.publish import publish
from printing.planner.snapshot import take_snapshot
from tests.printing.helpers import (
    ALL_CHECKED,
    give_file,
    one_printer,
    ordered_mesh,
    plan_now,
    served,
    spare_part,
    states,
    with_meshes,
)

pytestmark = pytest.mark.usefixtures("short_search")


@pytest.fixture
def planned(world):
    """Two teams with a wheel each, planned."""
    with_meshes(world)
    world.requests = [ordered_mesh(world), ordered_mesh(world, world.second_team, "students/otters-wheel-3.stl")]
    plan_now()
    return world


def test_every_copy_gets_a_plate_a_printer_and_a_time(planned):
    assert Job.objects.filter(kind="plan-room").exclude(state="done").count() == 0
    copies = PrintCopy.objects.select_related("plate__printer")
    assert copies.count() == 10  # four wheels and a chassis for each of two teams
    for copy in copies:
        assert copy.state == "planned"
        assert copy.plate.printer is not None, copy.plate.unplanned_because
        assert copy.plate.setup_at < copy.plate.starts_at < copy.plate.ends_at < copy.plate.cleared_at
        assert copy.plate.setup_at >= timezone.now() - timedelta(minutes=2)
    plan = RoomPlan.objects.first()
    assert plan.facts["violations"] == 0
    assert plan.facts["revision"] == Room.objects.get().revision
    assert plan.plates == Plate.objects.count() == len(plan.facts["numbers"])


def test_numbers_on_a_plate_run_from_one(planned):
    for plate in Plate.objects.all():
        places = sorted(plate.copies.values_list("place", flat=True))
        assert places == list(range(1, len(places) + 1))


def test_one_material_colour_and_setting_a_plate(world):
    with_meshes(world)
    red = spare_part(world, "holder", colour="red", position=2)
    give_file(red, "kit/axle-holder.stl")
    fine = spare_part(world, "gauge", settings={"layer_height_mm": 0.12}, position=3)
    give_file(fine, "kit/axle-gauge.stl")
    ordered_mesh(world)
    plan_now()
    for plate in Plate.objects.prefetch_related("copies__request__kit_part"):
        parts = {copy.request.kit_part for copy in plate.copies.all()}
        assert len({(part.material, part.colour, str(part.settings)) for part in parts}) == 1
        assert {part.colour for part in parts} == {plate.colour}
    assert {plate.colour for plate in Plate.objects.all()} == {"red", "white"}


def test_starts_and_clears_are_in_staffed_hours_of_the_school(planned):
    """The world's school is in Chicago and staffed 08:00 to 12:00 and 12:30 to 15:30, every day."""
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("America/Chicago")
    for plate in Plate.objects.all():
        for first, last in (
            (plate.setup_at, plate.starts_at),
            (plate.cleared_at - timedelta(minutes=10), plate.cleared_at),
        ):
            start, end = first.astimezone(zone), last.astimezone(zone)
            morning = f"{start:%H:%M}" >= "08:00" and f"{end:%H:%M}" <= "12:00"
            afternoon = f"{start:%H:%M}" >= "12:30" and f"{end:%H:%M}" <= "15:30"
            assert morning or afternoon, (start, end)
        assert plate.setup_at.astimezone(zone).date() == plate.ends_at.astimezone(zone).date(), (
            "nobody is there at night"
        )


def test_duration_and_grams_are_the_mesh_cores(planned):
    """The row says what meshcheck says about the very arrangement, asked again directly."""
    from makerlab.work.stored_files import in_place
    from meshcheck.plating import estimate_files, placed_file
    from meshcheck.types import PrintSettings
    from printing.queries import placed_parts_of

    plate = Plate.objects.filter(printer__isnull=False).first()
    machine = plate.printer.kind.machine_value()
    with in_place({"parts": placed_parts_of(plate)}) as local:
        files = [placed_file(part) for part in local["parts"]]
        direct = estimate_files(files, PrintSettings(**plate.settings), {"it": machine})["it"]
    assert plate.durations_s[str(plate.printer_id)] == pytest.approx(direct.duration_s)
    assert plate.mass_g == pytest.approx(direct.mass_g + direct.support_g + direct.raft_brim_g)


def test_planning_again_computes_no_estimate_twice(planned):
    estimates = set(PlateEstimate.objects.values_list("pk", flat=True))
    assert estimates
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    assert set(PlateEstimate.objects.values_list("pk", flat=True)) == estimates


def test_the_sizes_tried_are_in_the_facts(planned):
    sizes = RoomPlan.objects.first().facts["sizes"]
    assert [size["chosen"] for size in sizes].count(True) == 1
    assert len(sizes) >= 3
    for size in sizes:
        assert size["plates"] >= 1
        assert size["staff_min"] >= size["plates"] * (planned.room.start_min + planned.room.clear_min)


def test_loads_of_a_day_by_hand(planned):
    """Turns are starts and clears; their minutes are the room's five and ten, and ten more for each swap."""
    plan = RoomPlan.objects.first()
    plates = [plate for plate in Plate.objects.all() if plate.setup_at]
    loads = plan.facts["loads"]
    assert sum(load["turns"] for load in loads) == 2 * len(plates)
    swaps = sum(plate.swap for plate in plates)
    assert sum(load["staff_min"] for load in loads) == 15 * len(plates) + 10 * swaps
    for load in loads:
        assert load["staff_percent"] == round(100 * load["staff_min"] / load["staff_there_min"])


def test_a_room_planned_as_it_stands_is_not_planned_twice(planned):
    plans = RoomPlan.objects.count()
    from makerlab.work.actions import enqueue

    enqueue("plan-room", planned.room.pk, planned.school.pk, causes=[cause("days_changed")])
    plan_now()
    assert RoomPlan.objects.count() == plans
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    assert RoomPlan.objects.count() == plans + 1
    asked = RoomPlan.objects.first().causes
    assert sentence(asked) == "teacher asked for it"
    assert sentence(asked, planned.teacher) == "you asked for it"


def test_a_plan_made_for_an_older_room_is_not_written(planned):
    """Between snapshot and result a copy is cancelled: the result is dropped and the room planned again."""
    snapshot = take_snapshot(planned.room.pk, timezone.now())
    choice = choosing.choose(snapshot, Estimates(snapshot), lambda share: None)
    actions.cancel_copies(planned.requests[0], planned.teacher)
    before = list(Plate.objects.order_by("pk").values())
    assert publish(snapshot, choice, [cause("days_changed")], 0.1) is None
    assert list(Plate.objects.order_by("pk").values()) == before
    plan_now()
    assert states(planned.requests[0]) == ["cancelled"] * 4
    assert RoomPlan.objects.first().facts["revision"] == Room.objects.get().revision


def test_running_prints_do_not_move(planned):
    plate = Plate.objects.filter(printer__isnull=False).order_by("setup_at").first()
    run = actions.start_plate(plate, plate.printer, planned.technician, ALL_CHECKED)

    def rows():
        shown = Plate.objects.values().get(pk=plate.pk)
        shown.pop("cleared_at")  # when somebody has time to take it off is the plan's to say
        shown.pop("changes")  # and counts as a change in the calendars
        shown.pop("changed_at")
        return shown, Run.objects.values().get(pk=run.pk)

    before = rows()
    poses = list(plate.copies.order_by("pk").values())
    planned.requests.append(ordered_mesh(planned))
    plan_now()
    assert rows() == before
    plate.refresh_from_db()
    assert plate.cleared_at >= run.expected_end_at
    assert list(plate.copies.order_by("pk").values()) == poses
    others = Plate.objects.filter(printer=run.printer, state="planned")
    assert all(other.setup_at >= run.expected_end_at for other in others)


def test_failure_reprint_tray(planned):
    """A plate fails; what was lost is planned again by itself, printed, and reaches the tray."""
    request = planned.requests[0]
    while True:
        plate = Plate.objects.filter(state="planned", copies__request=request).first()
        if plate is None:
            break
        run = actions.start_plate(plate, plate.printer, planned.technician, ALL_CHECKED)
        if Run.objects.count() == 1:
            lost = plate.copies.filter(request=request).first()
            if plate.copies.count() == 1:
                actions.mark_failed(run, planned.technician, "warped")
            else:
                actions.mark_partly(run, planned.technician, {lost.pk: "warped"})
        else:
            actions.finish_run(run, planned.technician)
        plan_now()
    assert states(request) == ["in_tray"] * 4
    lost.refresh_from_db()
    assert lost.tries == 1
    assert [result.good for result in lost.results.order_by("run__started_at")] == [False, True]
    assert {each["code"] for each in RoomPlan.objects.order_by("id")[1].causes} & {"partly", "failed"}


def test_a_taken_plate_keeps_number_copies_and_places(planned):
    plate = Plate.objects.order_by("setup_at").first()
    actions.hold_plate(plate, planned.technician)
    before = list(plate.copies.order_by("pk").values_list("pk", "place", "x_mm", "y_mm", "turn_deg"))
    ordered_mesh(planned, path="students/otters-wheel-2.stl")
    plan_now()
    kept = Plate.objects.get(pk=plate.pk)
    assert (kept.number, kept.held) == (plate.number, True)
    assert list(kept.copies.order_by("pk").values_list("pk", "place", "x_mm", "y_mm", "turn_deg")) == before


def test_numbers_stay_when_the_room_is_planned_again(planned):
    before = {plate.pk: (plate.number, set(plate.copies.values_list("pk", flat=True))) for plate in Plate.objects.all()}
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    after = {plate.pk: (plate.number, set(plate.copies.values_list("pk", flat=True))) for plate in Plate.objects.all()}
    assert after == before


def test_where_nobody_is_late_the_queue_decides(world):
    """One printer, two teams with a chassis each: they are served in the order of the queue, whatever it is, as long as
    no start is so near that it stays. Somebody is there around the clock: with the end of a day in between, what still
    fits in it may come first."""
    first, second = one_printer(world)
    assert RoomPlan.objects.first().late_kits == 0
    assert served(world) == [world.team, world.second_team]
    for request in (second, PrintRequest.objects.get(team=world.second_team, submission=None)):
        for _ in range(2):
            version = Room.objects.get().queue_version
            actions.move_request(PrintRequest.objects.get(pk=request.pk), world.teacher, "up", version)
    assert PrintRequest.objects.order_by("rank").first().team == world.second_team
    plan_now()
    assert served(world) == [world.second_team, world.team]
    assert first.copies.count() == 4


def test_the_queue_decides_also_when_a_start_has_passed_meanwhile(world):
    """Two minutes after the plan was made its first start has passed: what was shown cannot hold any more."""
    _first, second = one_printer(world)
    for plate in Plate.objects.all():
        for name in ("setup_at", "starts_at", "ends_at", "cleared_at"):
            setattr(plate, name, getattr(plate, name) - timedelta(minutes=2))
        plate.save()
    for request in (second, PrintRequest.objects.get(team=world.second_team, submission=None)):
        for _ in range(2):
            version = Room.objects.get().queue_version
            actions.move_request(PrintRequest.objects.get(pk=request.pk), world.teacher, "up", version)
    plan_now()
    assert served(world) == [world.second_team, world.team]


def test_the_plan_runs_past_the_hours_only_with_the_written_permission_and_no_more_when_it_is_withdrawn(world):
    """Half an hour a day: no plate of ours ends in it. By the app's own verbs, from the rows to published plates."""
    with_meshes(world)
    RoomHours.objects.filter(starts_at__gte=time(12)).delete()
    RoomHours.objects.update(starts_at=time(8), ends_at=time(8, 30))
    ordered_mesh(world)
    able = world.printers[0]

    def planned_on() -> set[int | None]:
        plan_now()
        return set(Plate.objects.values_list("printer", flat=True))

    assert planned_on() == {None}
    assert all(Plate.objects.values_list("unplanned_because", flat=True))
    permit_unattended(world.room, world.administrator, "Fire and safety plan, May 2026")
    assert planned_on() == {None}, "the school permits it, but no printer was said to"
    actions.set_unattended(able, world.administrator, True)
    assert able.pk in planned_on() <= {able.pk, None}
    assert RoomPlan.objects.first().facts["violations"] == 0
    permit_unattended(world.room, world.administrator, "")
    assert planned_on() == {None}
