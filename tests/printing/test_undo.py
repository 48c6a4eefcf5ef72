"""A start and a clearing taken back, upkeep noted with the hours since, and the cards for the trays."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from printing import actions
from printing.models import Plate, PrintCopy, Printer, Run, RunCopy, Spool, Upkeep
from printing.printer_page import ended_runs_of
from printing.states import CopyState, FailureReason, NotAllowedNow, Outcome
from printing.upkeep_page import upkeep_of
from tests.printing.helpers import make_plate, ordered, started, states
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(world) -> Run:
    world.request = ordered(world)
    return started(world, make_plate(world, world.request))


def places(run: Run) -> dict[int, tuple[object, ...]]:
    rows = PrintCopy.objects.filter(plate=run.plate_id).values_list("pk", "place", "x_mm", "y_mm", "turn_deg", "tries")
    return {pk: rest for pk, *rest in rows}


def test_a_start_taken_back_leaves_the_plate_as_it_was_planned(world, run):
    before = places(run)
    assert actions.undo_run(run, world.technician) == "start"
    assert not Run.objects.exists()
    plate = Plate.objects.get(pk=run.plate_id)
    assert plate.state == "planned"
    assert plate.held  # its file is on the printer: the copies stay together
    assert set(states(world.request)) == {CopyState.PLANNED}
    assert places(run) == before
    assert started(world, plate).outcome == Outcome.RUNNING  # and it can be started again


@pytest.mark.parametrize("how", ["good", "partly", "failed"])
def test_a_clearing_taken_back_restores_copies_spool_and_run(world, run, how):
    before, grams = places(run), Spool.objects.get(printer=run.printer).grams_left
    first = min(before)
    if how == "good":
        actions.finish_run(run, world.technician)
    elif how == "partly":
        actions.mark_partly(run, world.technician, {first: FailureReason.WARPED})
    else:
        actions.mark_failed(run, world.technician, FailureReason.JAM)
    assert Spool.objects.get(printer=run.printer).grams_left < grams or how == "failed"
    assert actions.undo_run(Run.objects.get(pk=run.pk), world.technician) == "clear"
    run.refresh_from_db()
    assert (run.outcome, run.ended_at, run.used_g, run.note, run.before) == (Outcome.RUNNING, None, None, "", None)
    assert places(run) == before
    assert set(states(world.request)) == {CopyState.PRINTING}
    assert not RunCopy.objects.exists()
    assert Spool.objects.get(printer=run.printer).grams_left == pytest.approx(grams)
    assert Plate.objects.get(pk=run.plate_id).state == "printing"
    actions.finish_run(run, world.technician)  # and it is said anew how it went
    assert set(states(world.request)) == {CopyState.IN_TRAY}


def test_a_nearly_empty_spool_gets_back_no_more_than_was_taken(world, run):
    Spool.objects.filter(printer=run.printer).update(grams_left=3.0)
    actions.finish_run(run, world.technician)
    assert Spool.objects.get(printer=run.printer).grams_left == 0.0
    actions.undo_run(Run.objects.get(pk=run.pk), world.technician)
    assert Spool.objects.get(printer=run.printer).grams_left == pytest.approx(3.0)


def test_ten_minutes_later_it_stays(world, run):
    with pytest.raises(NotAllowedNow, match="more than ten minutes ago"):
        actions.undo_run(run, world.technician, run.started_at + timedelta(minutes=11))
    actions.finish_run(run, world.technician)
    with pytest.raises(NotAllowedNow, match="more than ten minutes ago"):
        actions.undo_run(run, world.technician, timezone.now() + timedelta(minutes=11))
    assert set(states(world.request)) == {CopyState.IN_TRAY}


def test_a_printer_that_prints_again_keeps_its_clearing(world, run):
    actions.finish_run(run, world.technician)
    started(world, make_plate(world, ordered(world, world.second_team), number=2))
    with pytest.raises(NotAllowedNow, match="prints something else"):
        actions.undo_run(Run.objects.get(pk=run.pk), world.technician)


def test_a_lost_copy_that_prints_again_keeps_the_clearing(world, run):
    actions.mark_failed(run, world.technician, FailureReason.JAM)
    started(world, make_plate(world, world.request, number=2), world.printers[1])
    with pytest.raises(NotAllowedNow, match="on its way again"):
        actions.undo_run(Run.objects.get(pk=run.pk), world.technician)
    assert set(states(world.request)) == {CopyState.PRINTING}


def test_the_bench_offers_it_to_who_works_there(world, run, signed_in):
    address = reverse("printing:run-undo", args=[run.pk])
    for person in (world.student, world.teacher, world.other_technician):
        assert signed_in(person).post(address).status_code == 404
    bench = reverse("printing:bench")
    assert address not in text_of(signed_in(world.teacher).get(bench))
    technician = signed_in(world.technician)
    assert address in text_of(technician.get(bench))
    said = text_of(technician.post(address, follow=True))
    assert "taken back" in said
    assert address not in said
    with pytest.raises(PermissionDenied):
        actions.undo_run(run, world.teacher)


def test_upkeep_tells_the_hours_since(world, run, signed_in):
    """By hand: two runs of 2 h, the nozzle changed between them; 2 h since, 4 h for what was never done."""
    printer = world.printers[0]
    now = timezone.now()
    Run.objects.all().delete()
    for ago in (10, 4):
        Run.objects.create(
            plate=run.plate, printer=printer, outcome=Outcome.FINISHED, started_at=now - timedelta(hours=ago),
            expected_end_at=now, ended_at=now - timedelta(hours=ago - 2.5), estimate_s=7200.0, estimate_g=20.0,
            print_ended_at=now - timedelta(hours=ago - 2),
        )  # fmt: skip
    actions.note_upkeep(printer, world.technician, Upkeep.Work.NOZZLE, "0.4 mm, brass", now - timedelta(hours=6))
    cares = {care.words: care for care in upkeep_of(printer, ended_runs_of(printer)).cares}
    assert cares["nozzle changed"].hours == pytest.approx(2.0)
    assert cares["belts tightened"].hours == pytest.approx(4.0)
    assert cares["belts tightened"].at is None
    page = reverse("printing:printer-detail", args=[printer.pk])
    technician = signed_in(world.technician)
    assert "0.4 mm, brass" in text_of(technician.get(page))
    address = reverse("printing:printer-upkeep", args=[printer.pk])
    technician.post(address, {"work": "belt", "note": "x" * 500})
    assert len(Upkeep.objects.get(work="belt").note) == 200
    assert "Say what was done" in text_of(technician.post(address, {"work": "magic"}, follow=True))
    for person in (world.teacher, world.student, world.other_technician):
        assert signed_in(person).post(address, {"work": "belt"}).status_code == 404
    assert Upkeep.objects.count() == 2
    assert Printer.objects.get(pk=printer.pk).upkeep.count() == 2


def test_a_card_for_every_tray_opens_the_teams_part(world, signed_in):
    request = ordered(world)
    address = reverse("printing:meeting-tray-cards", args=[world.meeting.pk])
    page = signed_in(world.teacher).get(address)
    text = page.content.decode()
    teams = world.school_class.teams.filter(memberships__isnull=False).distinct()
    assert text.count('class="tray-card"') == teams.count()
    assert text.count('class="qr"') == 1  # only the approved part has one
    assert f"version {request.submission.version}" in text
    for person, status in ((world.student, 404), (world.technician, 200), (world.far_teacher, 404)):
        assert signed_in(person).get(address).status_code == status
