"""Starting, clearing, failing."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from makerlab.audit.models import Event
from makerlab.work.models import Job
from printing import actions
from printing.actions.bench import Checks
from printing.causes import sentence
from printing.models import Outage, Plate, PrintCopy, Run, RunCopy, Spool
from printing.states import NotAllowedNow
from tests.printing.helpers import ALL_CHECKED, at, make_plate, ordered, started, states

CHICAGO = ZoneInfo("America/Chicago")  # the world's school; staffed 08:00 to 12:00 and 12:30 to 15:30 every day


def on(hour: int, minute: int = 0) -> datetime:
    """A moment of a plain Tuesday in the school's time zone."""
    return datetime(2026, 11, 17, hour, minute, tzinfo=CHICAGO)


def test_a_start_moves_plate_copies_and_printer(world):
    plate = make_plate(world)
    request = plate.copies.first().request
    now = timezone.now()
    run = started(world, plate, now=now)
    plate.refresh_from_db()
    assert (plate.state, plate.printer_id, plate.starts_at) == ("printing", world.printers[0].pk, now)
    assert states(request) == ["printing"] * 4
    assert (run.expected_end_at - now).total_seconds() == 7200
    assert (run.estimate_s, run.estimate_g, run.started_by) == (7200, 44, world.technician)
    assert Event.objects.get(verb="start_plate").facts["run"] == run.pk
    assert [sentence(job.payload["causes"]) for job in Job.objects.filter(kind="plan-room").order_by("-id")[:1]] == [
        f"P1 was started on {world.printers[0]}"
    ]


def test_revision_grows_with_every_verb(world):
    plate = make_plate(world)
    seen = [type(world.room).objects.get().revision]
    for act in (
        lambda: actions.hold_plate(plate, world.technician),
        lambda: started(world, plate),
        lambda: actions.finish_run(Run.objects.get(), world.technician),
        lambda: actions.weigh_spool(Spool.objects.first(), 500, world.technician),
        lambda: actions.set_out_of_service(world.printers[0], world.technician, "nozzle"),
        lambda: actions.back_in_service(world.printers[0], world.technician),
    ):
        act()
        seen.append(type(world.room).objects.get().revision)
    assert seen == sorted(set(seen)), "boards ask with the revision they saw"


@pytest.mark.parametrize(
    ("missing", "words"),
    [("right_spool", "the right spool is loaded"), ("bed_clear", "the bed is clear"), ("file_loaded", "the file of")],
)
def test_a_start_needs_every_check(world, missing, words):
    plate = make_plate(world)
    ticked = {"right_spool": True, "bed_clear": True, "file_loaded": True, "staying": True, missing: False}
    with pytest.raises(NotAllowedNow, match=words):
        actions.start_plate(plate, world.printers[0], world.technician, Checks(**ticked))
    plate.refresh_from_db()
    assert plate.state == "planned"


def spoil_spool_colour(world, plate):
    Spool.objects.filter(printer=world.printers[0]).update(colour="red")


def spoil_spool_material(world, plate):
    Spool.objects.filter(printer=world.printers[0]).update(material="PETG")


def spoil_spool_grams(world, plate):
    Spool.objects.filter(printer=world.printers[0]).update(grams_left=43.9)


def spoil_spool_gone(world, plate):
    Spool.objects.filter(printer=world.printers[0]).update(printer=None)


def spoil_printer_out(world, plate):
    Outage.objects.create(printer=world.printers[0], since=at(hours=1), reason="nozzle")


def spoil_printer_busy(world, plate):
    started(world, make_plate(world, ordered(world, world.second_team), number=2), world.printers[0])


def spoil_plate_started(world, plate):
    started(world, plate, world.printers[1])


def spoil_plate_cleared(world, plate):
    actions.finish_run(started(world, plate, world.printers[1]), world.technician)


def spoil_bed(world, plate):
    Plate.objects.filter(pk=plate.pk).update(durations_s={str(world.printers[1].pk): 7200.0})


def spoil_copies(world, plate):
    actions.cancel_copies(plate.copies.first().request, world.teacher)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (spoil_spool_colour, "wants white PLA; Wren has red PLA"),
        (spoil_spool_material, "wants white PLA; Wren has white PETG"),
        (spoil_spool_grams, "holds 44 g and P1 takes 44 g"),
        (spoil_spool_gone, "No spool is loaded on Wren"),
        (spoil_printer_out, "Wren is out of service"),
        (spoil_printer_busy, "Wren is printing P2"),
        (spoil_plate_started, "P1 was already started"),
        (spoil_plate_cleared, "P1 is finished and cleared"),
        (spoil_bed, "P1 does not fit on Wren"),
        (spoil_copies, "No copy stands on P1 any more"),
    ],
)
def test_a_start_that_cannot_be_is_told_why_and_changes_nothing(world, spoil, words):
    plate = make_plate(world)
    spoil(world, plate)
    plate.refresh_from_db()
    before = (Run.objects.count(), list(PrintCopy.objects.order_by("pk").values_list("state", flat=True)), plate.state)
    with pytest.raises(NotAllowedNow, match=words):
        started(world, plate)
    plate.refresh_from_db()
    after = (Run.objects.count(), list(PrintCopy.objects.order_by("pk").values_list("state", flat=True)), plate.state)
    assert before == after


@pytest.mark.parametrize(
    ("hour", "minute", "room_allows", "printer_allows", "staying", "starts"),
    [
        (8, 0, False, False, False, True),  # ends 10:00
        (13, 30, False, False, False, True),  # ends 15:30 sharp
        (13, 31, False, False, False, False),  # would end a minute after everybody has left
        (13, 31, True, False, False, False),  # the printer must allow it too
        (13, 31, False, True, False, False),  # and the room
        (13, 31, True, True, False, True),
        (13, 31, False, False, True, True),  # somebody stays
        (11, 0, False, False, False, True),  # runs through lunch: within the staffed day
        (20, 0, False, False, False, False),  # nobody is there at all
        (20, 0, False, False, True, True),
    ],
)
def test_unattended_running_is_off_unless_room_and_printer_allow_it(
    world, hour, minute, room_allows, printer_allows, staying, starts
):
    world.room.unattended_allowed = room_allows
    world.room.save()
    world.printers[0].may_run_unattended = printer_allows
    world.printers[0].save()
    plate = Plate.objects.select_related("room").get(pk=make_plate(world).pk)
    printer = type(world.printers[0]).objects.get(pk=world.printers[0].pk)
    checks = Checks(right_spool=True, bed_clear=True, file_loaded=True, staying=staying)
    if starts:
        actions.start_plate(plate, printer, world.technician, checks, now=on(hour, minute))
    else:
        with pytest.raises(NotAllowedNow, match="nobody is in the room"):
            actions.start_plate(plate, printer, world.technician, checks, now=on(hour, minute))


def test_good_copies_reach_the_tray(world):
    run = started(world)
    request = PrintCopy.objects.first().request
    now = timezone.now()
    actions.finish_run(run, world.technician, now=now)
    run.refresh_from_db()
    assert states(request) == ["in_tray"] * 4
    assert set(request.copies.values_list("in_tray_at", flat=True)) == {now}
    assert (run.outcome, run.ended_at, run.cleared_by, run.note) == ("finished", now, world.technician, "")
    assert run.plate.state == "cleared"
    assert RunCopy.objects.filter(good=True, reason="").count() == 4


def test_lost_copies_go_back_in_the_queue_with_their_reason(world):
    run = started(world)
    request = PrintCopy.objects.first().request
    second, fourth = request.copies.get(number=2), request.copies.get(number=4)
    actions.mark_partly(run, world.technician, {second.pk: "warped", fourth.pk: "came_off"})
    run.refresh_from_db()
    assert run.outcome == "partly_good"
    assert states(request) == ["in_tray", "waiting", "in_tray", "waiting"]
    second.refresh_from_db()
    assert (second.plate, second.place, second.x_mm, second.tries) == (None, None, None, 1)
    assert dict(RunCopy.objects.values_list("copy__number", "reason")) == {1: "", 2: "warped", 3: "", 4: "came_off"}
    told = [sentence(job.payload["causes"]) for job in Job.objects.filter(kind="plan-room")]
    assert "P1 on Wren: 2 lost" in told


@pytest.mark.parametrize(
    ("lost", "words"),
    [
        ([], "Say which copies were lost"),
        ([1, 2, 3, 4], "That is all of them"),
        ([99_999], "not on P1"),
    ],
)
def test_partly_needs_some_but_not_all(world, lost, words):
    run = started(world)
    ids = dict(PrintCopy.objects.filter(plate=run.plate).values_list("number", "pk"))
    with pytest.raises(NotAllowedNow, match=words):
        actions.mark_partly(run, world.technician, {ids.get(number, number): "warped" for number in lost})
    run.refresh_from_db()
    assert run.outcome == "running"


def test_a_reason_must_be_one_of_ours(world):
    run = started(world)
    with pytest.raises(NotAllowedNow, match="gremlins is not a reason"):
        actions.mark_failed(run, world.technician, "gremlins")


@pytest.mark.parametrize(("verb", "outcome"), [("mark_failed", "failed"), ("stop_run", "stopped")])
def test_a_failed_plate_gives_everything_back(world, verb, outcome):
    run = started(world)
    request = PrintCopy.objects.first().request
    arguments = ("spaghetti",) if verb == "mark_failed" else ()
    getattr(actions, verb)(run, world.technician, *arguments)
    run.refresh_from_db()
    assert run.outcome == outcome
    assert states(request) == ["waiting"] * 4
    assert set(request.copies.values_list("tries", flat=True)) == {1}
    reason = "spaghetti" if verb == "mark_failed" else "stopped"
    assert set(RunCopy.objects.values_list("reason", flat=True)) == {reason}


@pytest.mark.parametrize(
    ("verb", "minutes", "used_g"),
    [
        ("finish_run", 120, 44.0),
        ("finish_run", 30, 44.0),  # done is done, whatever the clock says
        ("mark_failed", 0, 0.0),
        ("mark_failed", 30, 11.0),  # a quarter of two hours
        ("mark_failed", 240, 44.0),  # noticed late: never more than the whole plate
        ("stop_run", 60, 22.0),
    ],
)
def test_grams_leave_the_spool(world, verb, minutes, used_g):
    begun = timezone.now() - timedelta(hours=5)
    run = started(world, now=begun)
    arguments = ("jam",) if verb == "mark_failed" else ()
    getattr(actions, verb)(run, world.technician, *arguments, now=begun + timedelta(minutes=minutes))
    spool = Spool.objects.get(printer=world.printers[0])
    assert spool.grams_left == pytest.approx(600 - used_g)
    run.refresh_from_db()
    assert run.note == ("" if verb == "finish_run" else f"{used_g:.0f} g by elapsed time")


def test_a_spool_is_never_below_zero(world):
    run = started(world)
    Spool.objects.filter(printer=world.printers[0]).update(grams_left=5.0)  # somebody swapped without saying so
    actions.finish_run(run, world.technician)
    assert Spool.objects.get(printer=world.printers[0]).grams_left == 0


@pytest.mark.parametrize("verb", ["finish_run", "mark_failed", "stop_run", "mark_partly"])
def test_a_run_ends_once(world, verb):
    run = started(world)
    one = PrintCopy.objects.first().pk
    actions.mark_partly(run, world.technician, {one: "warped"})
    arguments = {"mark_failed": ("jam",), "mark_partly": ({one: "jam"},)}.get(verb, ())
    stale = Run.objects.get(pk=run.pk)
    stale.outcome = "running"  # as an old page saw it
    with pytest.raises(NotAllowedNow, match="already"):
        getattr(actions, verb)(stale, world.technician, *arguments)
    assert RunCopy.objects.count() == 4
    assert Spool.objects.get(printer=world.printers[0]).grams_left == 556


def test_a_taken_plate_is_held_and_let_go(world):
    plate = make_plate(world)
    actions.hold_plate(plate, world.technician)
    actions.hold_plate(plate, world.technician)  # taken twice: nothing new
    plate.refresh_from_db()
    assert plate.held
    assert Event.objects.filter(verb="hold_plate").count() == 1
    actions.release_plate(plate, world.technician)
    with pytest.raises(NotAllowedNow, match="not kept together"):
        actions.release_plate(plate, world.technician)


def act(world, verb: str, person) -> None:
    """Do the verb in the situation it belongs to; everything before it is done by the technician."""
    printer, spool = world.printers[0], Spool.objects.get(printer=world.printers[2])
    plate = make_plate(world)
    if verb in {"hold_plate", "release_plate"}:
        if verb == "release_plate":
            actions.hold_plate(plate, world.technician)
        getattr(actions, verb)(plate, person)
    elif verb == "start_plate":
        actions.start_plate(plate, printer, person, ALL_CHECKED)
    elif verb in {"finish_run", "mark_partly", "mark_failed", "stop_run"}:
        run = started(world, plate)
        one = plate.copies.first().pk
        extra = {"mark_partly": ({one: "warped"},), "mark_failed": ("jam",)}.get(verb, ())
        getattr(actions, verb)(run, person, *extra)
    elif verb == "load_spool":
        actions.load_spool(spool, printer, person)
    elif verb == "weigh_spool":
        actions.weigh_spool(spool, 500, person)
    elif verb == "add_spool":
        actions.add_spool(world.room, person, "PLA", "red", 750, 220)
    elif verb == "set_out_of_service":
        actions.set_out_of_service(printer, person, "nozzle")
    elif verb == "back_in_service":
        Outage.objects.create(printer=printer, since=at(hours=1), reason="nozzle")
        actions.back_in_service(printer, person)


BENCH_VERBS = [
    "hold_plate",
    "release_plate",
    "start_plate",
    "finish_run",
    "mark_partly",
    "mark_failed",
    "stop_run",
    "load_spool",
    "weigh_spool",
    "add_spool",
    "set_out_of_service",
    "back_in_service",
]
EVENT_OF = {
    "finish_run": "run_finished",
    "mark_partly": "run_partly_good",
    "mark_failed": "run_failed",
    "stop_run": "run_stopped",
}
AT_THE_BENCH = {"technician", "administrator"}


@pytest.mark.parametrize("verb", BENCH_VERBS)
def test_who_works_at_the_bench(world, verb):
    """Role x verb: technicians and administrators of the school, nobody else."""
    for who, person in world.people().items():
        with transaction.atomic():
            if who in AT_THE_BENCH:
                act(world, verb, person)
                assert Event.objects.filter(actor=person, verb=EVENT_OF.get(verb, verb)).count() == 1
            else:
                with pytest.raises(PermissionDenied):
                    act(world, verb, person)
                assert not Event.objects.filter(actor=person).exclude(verb="order_kit").exists()
            transaction.set_rollback(True)
