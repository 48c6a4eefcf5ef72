"""Why a plan was made: kept as code and facts, worded for the reader; and the queue's order changed by hand, followed
and told."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.urls import reverse
from django.utils import timezone

from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from printing import actions
from printing.causes import COUNTED, KEPT, WORDS, cause, fixed, merged, sentence, words
from printing.changes_page import changes_for
from printing.models import PrintCopy, PrintRequest, Room, RoomPlan
from tests.conftest import ROOT
from tests.printing.helpers import make_plate, one_printer, plan_now, served, started

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("short_search")]


def test_every_code_that_is_given_has_words_and_every_word_is_given():
    source = "\n".join(path.read_text() for path in (ROOT / "queue" / "printing").rglob("*.py"))
    given = set(re.findall(r'(?:cause|_hours)\(\s*f?"(\w+)', source)) | set(re.findall(r'else "(\w+)"[,)]', source))
    given |= {"moved_up", "moved_down", "partly", "stopped", "finished", "failed", "told", "fixed", "plate_size"}
    assert set(WORDS) | COUNTED <= given
    with pytest.raises(KeyError):
        cause("nobody_can_say_this")


def test_facts_are_kept_and_words_are_the_readers(world):
    told = cause("moved_up", world.teacher, what="wheel for Voles", kit=None)
    assert told == {"code": "moved_up", "actor": world.teacher.pk, "who": "teacher", "what": "wheel for Voles"}
    assert words(told, world.technician) == "teacher moved wheel for Voles up in the queue"
    assert words(told, world.teacher) == "you moved wheel for Voles up in the queue"
    assert words(cause("partly", plate="P3", printer="Wren", lost=2)) == "P3 on Wren: 2 lost"
    assert words(cause("partly", plate="P3", printer="Wren", lost=1)) == "P3 on Wren: one lost"
    assert words({"code": "of a later version"}) == "something changed"
    hours = cause("hours_added", day="2026-11-17", begins="16:00", ends="18:00")
    assert words(hours) == "extra hours were added: Tue 17 Nov, 16:00 to 18:00"


def test_many_at_once_are_counted(world):
    three = [cause("back", printer=name) for name in ("Wren", "Heron", "Swift")]
    assert sentence(three[:2]) == "Wren is back in service; Heron is back in service"
    assert sentence(three) == "Wren is back in service, and 2 more changes"
    assert merged([*three, *three]) == three
    assert len(merged(cause("spool_weighed", spool=str(at)) for at in range(40))) == KEPT


def test_what_was_fixed_is_said(world):
    plate = make_plate(world, pin_printer=world.printers[1])
    assert words(fixed(plate)) == "P1 was fixed on Heron"


def test_a_late_start_says_by_how_much(world):
    started(world, make_plate(world, starts_at=timezone.now() - timedelta(minutes=75)))
    job = Job.objects.filter(kind="plan-room").order_by("-id").first()
    said = sentence(job.payload["causes"]).replace("\u00a0", " ")
    assert said == "P1 was started 1 h 15 min late on Wren"


@pytest.mark.django_db(transaction=True)
def test_sentences_of_before_stay_readable(world):
    """The migration, there and back, on a plan as it was kept before."""
    room, here = world.room.pk, "printing"
    newest = MigrationExecutor(connection).loader.graph.leaf_nodes()
    try:
        MigrationExecutor(connection).migrate([(here, "0006_written_permission")])
        with connection.cursor() as cursor:
            row = "seconds, plates, late_kits, tardiness_min, facts, cause, made_at, room_id"
            values = "0.1, 0, 0, 0, '{}', 'Wren failed P6', '2026-11-17 14:05:00', %s"
            cursor.execute(f"INSERT INTO printing_roomplan ({row}) VALUES ({values})", [room])
    finally:
        MigrationExecutor(connection).migrate(newest)
    assert sentence(RoomPlan.objects.get().causes) == "Wren failed P6"


def move(world, request: PrintRequest) -> None:
    version = Room.objects.get(pk=world.room.pk).queue_version
    actions.move_request(PrintRequest.objects.get(pk=request.pk), world.teacher, "up", version)


def test_the_first_answer_follows_the_queue_and_the_change_list_says_who_moved_what(world, client):
    _first, second = one_printer(world)
    assert served(world) == [world.team, world.second_team]
    actions.note_look(world.room, world.teacher, RoomPlan.objects.first().pk)
    actions.note_look(world.room, world.technician, RoomPlan.objects.first().pk)

    move(world, second)  # past the first team's chassis: its wheel still stands first
    run_waiting("plan")
    told = changes_for(world.room, world.teacher)
    assert told.count == 0
    assert told.stay.startswith("You moved wheel for Team 2, Crew 2 up in the queue. No start changes:")

    move(world, second)  # past its wheel: now the second team comes first
    run_waiting("plan")
    assert RoomPlan.objects.first().facts["is_first_answer"]
    assert served(world) == [world.second_team, world.team], "at once, not only in a better plan"
    mine, others = changes_for(world.room, world.teacher), changes_for(world.room, world.technician)
    assert mine.count > 0
    assert "changed because you moved wheel for Team 2, Crew 2 up in the queue" in mine.groups[0].title
    assert "changed because teacher moved wheel for Team 2, Crew 2 up in the queue" in others.groups[0].title
    plan_now()
    assert served(world) == [world.second_team, world.team], "and a better plan keeps it"
    assert changes_for(world.room, world.teacher).count > 0
    client.force_login(world.technician)
    assert "Made because: teacher moved wheel" in client.get(reverse("printing:room-plan")).content.decode()


def test_a_request_dragged_to_its_place_is_followed_too(world):
    """To the front, so that its team comes first; and to the end, so that those it passed do."""
    _first, second = one_printer(world)
    front = PrintRequest.objects.order_by("rank").first()
    actions.place_request(second, world.teacher, front.pk, Room.objects.get().queue_version)
    run_waiting("plan")
    assert served(world) == [world.second_team, world.team]
    assert RoomPlan.objects.first().facts["follows_order"]
    for request in PrintRequest.objects.filter(team=world.second_team).order_by("rank"):
        actions.place_request(request, world.teacher, None, Room.objects.get().queue_version)
    run_waiting("plan")
    assert served(world) == [world.team, world.second_team]


def test_no_deadline_is_given_up_for_the_queue(world):
    """The second team cannot come first without the first one being late: the plan stays, and says so."""
    _first, second = one_printer(world)
    ready = max(copy.plate.cleared_at for copy in PrintCopy.objects.filter(request__team=world.team))
    world.assignment.meeting.starts_at = ready + timedelta(minutes=1)
    world.assignment.meeting.save()
    actions.plan_again(world.room, world.technician)
    plan_now()
    before = RoomPlan.objects.first().tardiness_min
    for _ in range(2):
        move(world, second)
    run_waiting("plan")
    plan = RoomPlan.objects.first()
    assert plan.tardiness_min <= before
