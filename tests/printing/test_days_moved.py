"""A moved lab day or a changed bell schedule has the room planned again, by the real verbs, and says so beforehand."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from lessons.actions.days import set_special_days
from lessons.actions.meetings import move_meeting
from lessons.classes.moving import ALONG, work_out
from lessons.school_days import Slot
from makerlab.work.models import Job
from printing.actions.ground import PLAN_ROOM
from printing.models import Plate, PrintCopy
from tests.printing.helpers import make_plate, ordered
from tests.world import World

pytestmark = pytest.mark.django_db


def waiting_plans() -> int:
    return Job.objects.filter(kind=PLAN_ROOM, state=Job.State.WAITING).count()


@pytest.fixture
def quiet(world: World) -> World:
    """Parts are ordered; nothing waits to be done."""
    ordered(world)
    Job.objects.all().delete()
    return world


def later(world: World, days: int) -> Slot:
    start = world.meeting.starts_at + timedelta(days=days)
    return Slot(start.date(), "2", start, start + timedelta(minutes=50))


def test_a_moved_meeting_is_told_of_and_planned_for(quiet: World) -> None:
    before = quiet.room.revision
    slot = later(quiet, 4)
    move = work_out(quiet.meeting, slot, ALONG)
    count = PrintCopy.objects.filter(state="waiting").count()
    assert move.sentences == (f"{count} copies are still to be printed for it; the room is planned again.",)
    move_meeting(quiet.teacher, quiet.meeting, slot, ALONG, move.seen)
    quiet.room.refresh_from_db()
    assert waiting_plans() == 1
    assert quiet.room.revision > before


def test_whether_the_plan_has_them_ready(world: World) -> None:
    request = ordered(world)
    plate = make_plate(world, request, number=1)
    world.assignment.print_requests.exclude(pk=request.pk).delete()
    for days, word in ((1, "before"), (5, "after")):
        Plate.objects.filter(pk=plate.pk).update(cleared_at=timezone.now() + timedelta(days=days))
        sentences = work_out(world.meeting, later(world, 0), ALONG).sentences
        assert f"{word} the new time" in sentences[-1]


def test_changed_days_are_planned_for(quiet: World) -> None:
    day = quiet.meeting.starts_at.date()
    set_special_days(quiet.administrator, day, day, None, "holiday")
    assert waiting_plans() == 1


def test_a_meeting_nobody_prints_for_moves_alone(world: World) -> None:
    slot = later(world, 4)
    move = work_out(world.meeting, slot, ALONG)
    assert move.sentences == ()
    move_meeting(world.teacher, world.meeting, slot, ALONG, move.seen)
    assert waiting_plans() == 0
