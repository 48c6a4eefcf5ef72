"""A school with two rooms: where a class is printed, and what goes over when that changes."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from lessons.models import Assignment, Meeting
from makerlab.audit.models import Event
from makerlab.work.models import Job
from printing import actions
from printing.actions import Moved
from printing.causes import sentence
from printing.models import AssignmentRoom, Plate, Printer, PrintRequest, Room, Spool
from printing.states import CopyState, NotAllowedNow
from tests.printing.helpers import make_plate, ordered, ordered_mesh, plan_now, started, states, with_meshes

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("short_search")]


@pytest.fixture
def annex(world) -> Room:
    """A second room with one printer."""
    room = Room.objects.create(school=world.school, name="annex")
    printer = Printer.objects.create(room=room, kind=world.printers[0].kind, name="Robin")
    Spool.objects.create(room=room, printer=printer, colour="white", grams_left=600, tare_g=220)
    for row in world.room.hours.all():
        room.hours.create(day_kind=row.day_kind, starts_at=row.starts_at, ends_at=row.ends_at, staff=row.staff)
    return room


def rooms_of(world) -> set[str]:
    return set(PrintRequest.objects.filter(assignment=world.assignment).values_list("room__name", flat=True))


def test_without_a_choice_the_first_room_prints(world, annex):
    ordered(world)
    assert rooms_of(world) == {"room 12"}


def test_what_is_approved_after_a_choice_goes_to_the_chosen_room(world, annex):
    assert actions.print_in(world.assignment, world.teacher, annex) == Moved(0, 0)
    ordered(world)
    assert rooms_of(world) == {"annex"}
    job = Job.objects.filter(kind="plan-room").order_by("-id").first()
    assert job.subject == str(annex.pk)


def test_what_waits_goes_over_to_the_end_of_the_queue_there_and_both_rooms_are_planned(world, annex):
    with_meshes(world)
    first = ordered_mesh(world)
    make_plate(world, first)
    second = ordered_mesh(world, world.second_team)
    before = list(PrintRequest.objects.order_by("rank").values_list("pk", flat=True))
    Job.objects.all().delete()
    assert actions.print_in(world.assignment, world.teacher, annex).over == len(before)
    rows = PrintRequest.objects.filter(room=annex).order_by("rank")
    assert list(rows.values_list("pk", flat=True)) == before, "in their order"
    assert states(first) == ["waiting"] * first.copies.count()
    wanted = Job.objects.filter(kind="plan-room").order_by("subject")
    assert {job.subject for job in wanted} == {str(world.room.pk), str(annex.pk)}
    assert sentence(wanted[0].payload["causes"]) == f"parts of {world.school_class} are printed in annex from now on"
    assert Event.objects.filter(verb="print_in").count() == 1
    assert second.copies.count()
    plan_now()
    assert not Plate.objects.filter(room=world.room).exists(), "the plate nobody needs any more is given up"
    assert set(Plate.objects.filter(room=annex).values_list("printer__name", flat=True)) == {"Robin"}


def test_what_has_begun_or_was_taken_stays(world, annex):
    request = ordered(world)
    started(world, make_plate(world, request))
    other = ordered(world, world.second_team)
    held = make_plate(world, other, number=2)
    actions.hold_plate(held, world.technician)
    moved = actions.print_in(world.assignment, world.teacher, annex)
    assert moved.stay == 2
    for each in (request, other):
        each.refresh_from_db()
        assert each.room == world.room
    assert states(request) == [CopyState.PRINTING] * request.copies.count()
    assert PrintRequest.objects.filter(room=annex).count() == moved.over > 0


def test_there_already_is_said(world, annex):
    with pytest.raises(NotAllowedNow, match="printed in room 12 already"):
        actions.print_in(world.assignment, world.teacher, world.room)
    actions.print_in(world.assignment, world.teacher, annex)
    with pytest.raises(NotAllowedNow, match="printed in annex already"):
        actions.print_in(world.assignment, world.teacher, annex)
    actions.print_in(world.assignment, world.teacher, world.room)
    assert AssignmentRoom.objects.get().room == world.room


def test_who_may(world, annex, client):
    address = reverse("printing:assignment-room", args=[world.assignment.pk])
    for person, code in (
        (world.student, 404),
        (world.far_teacher, 404),
        (world.technician, 404),
        (world.other_teacher, 404),
        (world.teacher, 302),
        (world.administrator, 302),
    ):
        AssignmentRoom.objects.all().delete()
        client.force_login(person)
        assert client.post(address, {"room": annex.pk}).status_code == code, person
        assert AssignmentRoom.objects.exists() is (code == 302)
    foreign = Room.objects.create(school=world.other_school, name="elsewhere")
    for room in (foreign.pk, "x", "", "9" * 30):
        assert client.post(address, {"room": room}).status_code == 404
    with pytest.raises(PermissionDenied):
        actions.print_in(world.assignment, world.teacher, foreign)


def test_the_queue_page_says_where_and_offers_the_other_room(world, annex, client):
    client.force_login(world.teacher)
    queue = reverse("printing:request-list")
    text = client.get(queue).content.decode()
    assert "Print in annex" in text
    answer = client.post(
        reverse("printing:assignment-room", args=[world.assignment.pk]), {"room": annex.pk}, follow=True
    )
    text = answer.content.decode()
    assert f"{world.school_class} is printed in annex from now on." in text
    assert "Print in room 12" in text
    client.force_login(world.technician)
    assert "Print in" not in client.get(queue).content.decode()


def test_a_school_with_one_room_is_not_asked(world, client):
    client.force_login(world.teacher)
    assert "Where it is printed" not in client.get(reverse("printing:request-list")).content.decode()
    assert "Printed in" not in client.get(reverse("printing:plan-give", args=[world.plan.pk])).content.decode()


def test_the_room_chosen_while_giving_is_kept_and_the_one_last_looked_at_comes_first(world, annex, client):
    meeting = Meeting.objects.create(
        school_class=world.school_class,
        starts_at=world.meeting.starts_at + timedelta(days=7),
        ends_at=world.meeting.ends_at + timedelta(days=7),
    )
    client.force_login(world.teacher)
    client.post(reverse("printing:room-choose", args=[annex.pk]))
    address = reverse("printing:plan-give", args=[world.plan.pk])
    page = client.get(address)
    assert [name for _pk, name in page.context["form"].fields["room"].choices] == ["annex", "room 12"]
    group = world.school_class.pk
    sent = {"team_size": 3, "days_before": 2, "files_max": 20, f"class-{group}": "on", f"meeting-{group}": meeting.pk}
    assert client.post(address, {**sent, "give": "yes", "room": "77777"}).status_code == 422
    assert client.post(address, {**sent, "give": "yes", "room": annex.pk}).status_code == 302
    made = Assignment.objects.get(meeting=meeting)
    assert Room.objects.for_assignment(made) == annex
