"""Where a team's parts are, as its students are told."""

from __future__ import annotations

import pytest
from django.utils import timezone

from printing import actions, progress
from printing.models import PrintCopy
from submissions.parts_page import parts_page, read_revision
from tests.printing.helpers import ALL_CHECKED, make_plate, ordered, started

pytestmark = pytest.mark.django_db


def test_the_team_sees_where_its_part_is_at_every_step(world, signed_in):
    revisions = []

    def wheel():
        """As the page has it. Who asks whether it has changed is told the same, and hears of every step."""
        page = parts_page(world.assignment, world.team)
        assert page.revision == read_revision(world.team.pk, world.assignment.pk)
        revisions.append(page.revision)
        return next(line.progress for line in page.lines if line.part == world.wheel)

    request = ordered(world)
    assert (wheel().state, wheel().stage) == ("waiting for a printer", "waiting")
    plate = make_plate(world, request, cleared_at=timezone.now() + timezone.timedelta(hours=3))
    assert (wheel().state, wheel().note) == ("planned on Wren", "plate P1")
    assert wheel().likely_ready_at == plate.cleared_at
    assert len(set(revisions)) == 2
    run = started(world, plate)
    assert wheel().state == "printing on Wren"
    # two hours of printing, ten minutes of cooling (the machine's default), ten of clearing (the room's)
    assert wheel().likely_ready_at == run.started_at + timezone.timedelta(minutes=140)
    lost = PrintCopy.objects.filter(request=request).first()
    actions.mark_partly(run, world.technician, {lost.pk: "warped"})
    assert (wheel().state, wheel().done_copies) == ("waiting for a printer", 3)
    assert wheel().note == "3 of 4 in the tray, 1 is printed again"
    assert wheel().likely_ready_at is None
    again = make_plate(world, request, number=2)
    actions.finish_run(actions.start_plate(again, world.printers[0], world.technician, ALL_CHECKED), world.technician)
    assert (wheel().state, wheel().is_done, wheel().stage) == ("in tray 1", True, "in_tray")
    assert len(set(revisions)) == 5
    page = signed_in(world.student).get("/parts/")
    assert b"in tray 1" in page.content


def test_a_late_plate_is_told_anew_each_minute(world, monkeypatch):
    """ "Likely ready" is never over: while a plate is late it moves on with the clock, a minute at a time."""
    now = timezone.now().replace(second=20)
    monkeypatch.setattr(progress.timezone, "now", lambda: now)
    make_plate(world, ordered(world), cleared_at=now - timezone.timedelta(hours=1))

    def ready_at():
        return {row.ready_at for row in progress.rows(world.team.pk, world.assignment.pk) if row.plate_number}

    first = ready_at()
    assert first == {now.replace(second=0, microsecond=0)}
    now += timezone.timedelta(seconds=30)
    assert ready_at() == first
    now += timezone.timedelta(seconds=30)
    assert ready_at() == {now.replace(second=0, microsecond=0)} != first
