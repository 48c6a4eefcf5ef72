"""Ordering, moving and cancelling."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.db.models import Count

from makerlab.audit.models import Event
from makerlab.work.models import Job
from printing import actions
from printing.causes import sentence
from printing.models import PrintCopy, PrintRequest, Room
from printing.states import NotAllowedNow
from submissions.signals import approved, withdrawn
from tests.printing.helpers import approved_wheel, make_plate, ordered, spare_part, started, states
from tests.world import make_class


def queue_of(world) -> list[int]:
    return list(PrintRequest.objects.filter(room=world.room).values_list("pk", flat=True))


@pytest.mark.parametrize(
    ("copies_per_team", "copies_in_file", "copies"), [(4, 1, 4), (4, 4, 1), (4, 2, 2), (4, 3, 2), (1, 4, 1), (5, 2, 3)]
)
def test_copies_are_rounded_up(world, copies_per_team, copies_in_file, copies):
    world.wheel.copies_per_team = copies_per_team
    world.wheel.save()
    request = ordered(world, copies_in_file=copies_in_file)
    assert request.copies.count() == copies


def test_approval_orders_the_kit_once(world):
    spare_part(world, "axle-holder", copies_per_team=2, spares=3, position=2)
    submission = approved_wheel(world)
    approved.send(sender=type(submission), submission=submission, user=world.teacher)
    approved.send(sender=type(submission), submission=submission, user=world.teacher)
    second = approved_wheel(world, world.second_team)
    approved.send(sender=type(submission), submission=second, user=world.teacher)
    table = {
        (request.kit_part.code, request.team_id): request.wanted
        for request in PrintRequest.objects.annotate(wanted=Count("copies")).select_related("kit_part")
    }
    assert table == {
        ("wheel", world.team.pk): 4,
        ("chassis", world.team.pk): 1,
        ("axle-holder", world.team.pk): 2,
        ("axle-holder", None): 3,
        ("wheel", world.second_team.pk): 4,
        ("chassis", world.second_team.pk): 1,
        ("axle-holder", world.second_team.pk): 2,
    }


def test_new_requests_stand_at_the_end_and_the_room_is_planned(world):
    ordered(world)
    ordered(world, world.second_team)
    ranks = list(PrintRequest.objects.order_by("id").values_list("rank", flat=True))
    assert ranks == sorted(set(ranks)) == list(range(4))
    jobs = Job.objects.filter(kind="plan-room", subject=str(world.room.pk))
    assert [sentence(job.payload["causes"]) for job in jobs.order_by("id")] == [
        "wheel of Team 1, Crew 1 was approved",
        "wheel of Team 2, Crew 2 was approved",
    ]


def test_a_second_design_is_a_second_request_but_not_a_second_kit(world):
    ordered(world)
    ordered(world)
    assert sorted(PrintRequest.objects.values_list("kit_part__code", flat=True)) == ["chassis", "wheel", "wheel"]


def test_without_a_room_an_approval_still_stands(world):
    Room.objects.filter(pk=world.room.pk).delete()
    assert actions.order_kit(approved_wheel(world), world.teacher) == []


def test_withdrawal_cancels_what_is_not_printing(world):
    request = ordered(world)
    plate = make_plate(world, request, held=True)
    copy = request.copies.first()
    PrintCopy.objects.filter(pk=copy.pk).update(state="printing")
    withdrawn.send(sender=type(request.submission), submission=request.submission, user=world.student)
    assert states(request) == ["printing", "cancelled", "cancelled", "cancelled"]
    plate.refresh_from_db()
    assert not plate.held, "the file that was taken holds copies nobody wants"
    assert Event.objects.get(verb="cancel_copies").facts == {"copies": 3}


def test_withdrawal_of_what_was_never_ordered_or_all_printing_does_nothing(world):
    assert actions.cancel_submission(approved_wheel(world), world.teacher) == 0
    request = ordered(world)
    started(world, make_plate(world, request))
    assert actions.cancel_submission(request.submission, world.teacher) == 0
    assert set(states(request)) == {"printing"}


def test_cancelling_twice_is_told(world):
    request = ordered(world)
    assert actions.cancel_copies(request, world.teacher) == 4
    with pytest.raises(NotAllowedNow, match="Every copy is printing, printed or cancelled"):
        actions.cancel_copies(request, world.teacher)


def test_moves_change_places_with_the_neighbour(world):
    ordered(world)
    first, second = queue_of(world)[:2]
    version = Room.objects.get().queue_version
    after = actions.move_request(PrintRequest.objects.get(pk=second), world.teacher, "up", version)
    assert queue_of(world)[:2] == [second, first]
    assert after == version + 1 == Room.objects.get().queue_version
    actions.move_request(PrintRequest.objects.get(pk=second), world.teacher, "down", after)
    assert queue_of(world)[:2] == [first, second]


def test_a_stale_move_moves_nothing_and_says_so(world):
    ordered(world)
    before = queue_of(world)
    version = Room.objects.get().queue_version
    with pytest.raises(NotAllowedNow, match="The queue has changed since you looked"):
        actions.move_request(PrintRequest.objects.get(pk=before[1]), world.teacher, "up", version - 1)
    assert queue_of(world) == before
    assert not Event.objects.filter(verb="move_request").exists()


@pytest.mark.parametrize(("at", "direction", "words"), [(0, "up", "stands first"), (-1, "down", "stands last")])
def test_a_move_past_the_end_is_told(world, at, direction, words):
    ordered(world)
    version = Room.objects.get().queue_version
    with pytest.raises(NotAllowedNow, match=words):
        actions.move_request(PrintRequest.objects.get(pk=queue_of(world)[at]), world.teacher, direction, version)
    assert Room.objects.get().queue_version == version, "a refused move is no change"


def test_a_move_skips_what_is_done_and_leaves_other_classes_in_place(world):
    """The queue reads ours, theirs, ours. Moving our last up changes our two; theirs stays in the middle."""
    ordered(world)
    ours, theirs_request = queue_of(world)[0], PrintRequest.objects.get(pk=queue_of(world)[1])
    ordered(world, world.second_team)
    last = queue_of(world)[2]
    far_assignment = type(world.assignment).objects.create(
        plan=world.plan,
        school_class=world.far_class,
        meeting=world.meeting,
        upload_by=world.assignment.upload_by,
    )
    PrintRequest.objects.filter(pk=theirs_request.pk).update(assignment=far_assignment, team=world.far_team)
    version = Room.objects.get().queue_version
    actions.move_request(PrintRequest.objects.get(pk=last), world.teacher, "up", version)
    assert queue_of(world)[:3] == [last, theirs_request.pk, ours]


ROLES = {
    "teacher": None,
    "administrator": None,
    "far_teacher": PermissionDenied,
    "technician": PermissionDenied,
    "student": PermissionDenied,
    "far_student": PermissionDenied,
    "other_teacher": PermissionDenied,
    "other_technician": PermissionDenied,
    "other_student": PermissionDenied,
}


@pytest.mark.parametrize(("who", "refused"), ROLES.items())
@pytest.mark.parametrize("verb", ["move", "cancel"])
def test_who_orders(world, who, refused, verb):
    ordered(world)
    request = PrintRequest.objects.get(pk=queue_of(world)[1])
    person = world.people()[who]

    def act():
        if verb == "move":
            return actions.move_request(request, person, "up", Room.objects.get().queue_version)
        return actions.cancel_copies(request, person)

    if refused:
        with pytest.raises(refused):
            act()
        assert not Event.objects.exclude(verb="order_kit").exists()
    else:
        act()


def test_an_unknown_direction_is_a_mistake_of_the_caller(world):
    request = ordered(world)
    with pytest.raises(ValueError, match="sideways"):
        actions.move_request(request, world.teacher, "sideways", 1)


def test_requests_of_another_school_are_not_in_the_queue(world):
    ordered(world)
    other_class = make_class(world.other_school, "9C", world.other_teacher)
    assert PrintRequest.objects.visible_to(world.other_teacher).count() == 0
    assert other_class.teams.count() == 2
