"""Held back, urgent with a reason, other numbers of copies, a budget, a row dropped elsewhere: actions and pages."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from makerlab.audit.models import Event
from printing import actions
from printing.actions.wanted import used_g
from printing.chance import in_100
from printing.models import Plate, PrintCopy, PrintRequest, Room, TeamBudget
from printing.planner.snapshot import URGENT_WEIGHT, take_snapshot
from printing.states import CopyState, NotAllowedNow
from tests.printing.helpers import make_plate, ordered, ordered_mesh, plan_now, started, with_meshes
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db


def states(request: PrintRequest) -> list[str]:
    return list(request.copies.order_by("number").values_list("state", flat=True))


def url(request: PrintRequest, verb: str) -> str:
    return reverse(f"printing:request-{verb}", args=[request.pk])


@pytest.fixture
def wheels(world) -> PrintRequest:
    return ordered(world)


def test_what_is_held_leaves_its_plate_and_is_not_planned(world, wheels):
    plate = make_plate(world, wheels)
    Plate.objects.filter(pk=plate.pk).update(held=True)
    actions.hold_request(wheels, world.teacher, True)
    assert set(states(wheels)) == {CopyState.WAITING}
    plate.refresh_from_db()
    assert not plate.held
    snapshot = take_snapshot(world.room.pk, timezone.now())
    mine = set(wheels.copies.values_list("pk", flat=True))
    assert mine & set(snapshot.copies) == set()
    assert {snapshot.unplaced[pk] for pk in mine} == {"It is on hold."}
    actions.hold_request(PrintRequest.objects.get(pk=wheels.pk), world.teacher, False)
    assert mine <= set(take_snapshot(world.room.pk, timezone.now()).copies)
    with pytest.raises(NotAllowedNow, match="not held"):
        actions.hold_request(wheels, world.teacher, False)


def test_what_prints_goes_on_when_the_rest_is_held(world, wheels):
    started(world, make_plate(world, wheels))
    with pytest.raises(NotAllowedNow, match="Nothing of this request waits"):
        actions.hold_request(wheels, world.teacher, True)
    assert set(states(wheels)) == {CopyState.PRINTING}


def test_urgent_stands_first_weighs_more_and_says_why(world, wheels):
    second = ordered(world, world.second_team)
    actions.make_urgent(second, world.teacher, "  the axle \n broke ")
    second.refresh_from_db()
    assert second.urgent_because == "the axle broke"
    assert PrintRequest.objects.order_by("rank", "id").first() == second
    kits = {kit.id: kit.weight for kit in take_snapshot(world.room.pk, timezone.now()).kits}
    mine, others = f"{world.assignment.pk}:{world.second_team.pk}", f"{world.assignment.pk}:{world.team.pk}"
    assert kits[mine] == URGENT_WEIGHT * kits[others]
    actions.make_urgent(PrintRequest.objects.get(pk=second.pk), world.teacher, "")
    assert take_snapshot(world.room.pk, timezone.now()).kits[0].weight == kits[others]


def test_more_and_fewer_copies(world, wheels):
    before = len(states(wheels))
    assert actions.set_copies(wheels, world.teacher, before + 2) == 2
    assert len(states(wheels)) == before + 2
    make_plate(world, wheels)
    assert actions.set_copies(wheels, world.teacher, before) == -2
    assert states(wheels).count(CopyState.CANCELLED) == 2
    assert set(states(wheels)[:before]) == {CopyState.PLANNED}  # the last ones go, and leave their plate
    assert not PrintCopy.objects.filter(state=CopyState.CANCELLED, plate__isnull=False).exists()
    for wanted, words in ((0, "cancel"), (before + 100, "At most")):
        with pytest.raises(NotAllowedNow, match=words):
            actions.set_copies(wheels, world.teacher, wanted)
    started(world, Plate.objects.get())
    with pytest.raises(NotAllowedNow, match="printing or printed already"):
        actions.set_copies(wheels, world.teacher, before - 1)


def test_the_budget_refuses_more_copies_but_nothing_that_is_approved(world, wheels):
    used = used_g(world.assignment.pk)[world.team.pk]
    # by hand: each copy of each request of the team at the mass of its file
    expected = sum(
        copy.request.source.mass_g or 0.0
        for copy in PrintCopy.objects.filter(request__team=world.team).exclude(state=CopyState.CANCELLED)
    )
    assert used == pytest.approx(expected)
    actions.set_budget(world.assignment, world.teacher, used + 11.5)
    copies = len(states(wheels))
    assert actions.set_copies(wheels, world.teacher, copies + 1) == 1  # 11 g
    with pytest.raises(NotAllowedNow, match="Raise the budget first"):
        actions.set_copies(wheels, world.teacher, copies + 2)
    assert len(states(wheels)) == copies + 1
    ordered(world, world.second_team)  # an approved part is ordered all the same
    with pytest.raises(PermissionDenied):
        actions.set_budget(world.assignment, world.far_teacher, 5)
    actions.set_budget(world.assignment, world.teacher, None)
    assert not TeamBudget.objects.exists()


def test_a_row_dropped_elsewhere_lands_there(world, wheels):
    ordered(world, world.second_team)
    order = list(PrintRequest.objects.order_by("rank", "id").values_list("pk", flat=True))
    version = Room.objects.get(pk=world.room.pk).queue_version
    last = PrintRequest.objects.get(pk=order[-1])
    version = actions.place_request(last, world.teacher, order[0], version)
    assert list(PrintRequest.objects.order_by("rank", "id").values_list("pk", flat=True)) == [order[-1], *order[:-1]]
    version = actions.place_request(PrintRequest.objects.get(pk=order[-1]), world.teacher, None, version)
    assert list(PrintRequest.objects.order_by("rank", "id").values_list("pk", flat=True)) == order
    with pytest.raises(NotAllowedNow, match="changed since you looked"):
        actions.place_request(last, world.teacher, order[0], version - 1)
    assert Event.objects.filter(verb="place_request").count() == 2


@pytest.mark.parametrize("verb", ["detail", "copies", "hold", "urgent", "budget"])
def test_only_who_may_order_it_changes_it(world, wheels, signed_in, verb):
    for person in (world.student, world.far_teacher, world.technician, world.other_teacher):
        client = signed_in(person)
        answer = client.get(url(wheels, verb)) if verb == "detail" else client.post(url(wheels, verb), {"held": "yes"})
        assert answer.status_code == 404
    wheels.refresh_from_db()
    assert not wheels.held


def test_the_page_changes_it_and_says_what_is_wrong(world, wheels, signed_in):
    teacher = signed_in(world.teacher)
    page = text_of(teacher.get(url(wheels, "detail")))
    assert "Put it on hold" in page
    assert teacher.post(url(wheels, "copies"), {"copies": "many"}).status_code == 422
    assert teacher.post(url(wheels, "urgent"), {"reason": ""}).status_code == 422
    assert teacher.post(url(wheels, "budget"), {"grams": "-3"}).status_code == 422
    assert teacher.post(url(wheels, "copies"), {"copies": 99}, follow=True).status_code == 200
    assert "At most" in text_of(teacher.get(url(wheels, "detail"))) or len(states(wheels)) < 99
    assert teacher.post(url(wheels, "urgent"), {"reason": "axle broke"}).url == reverse("printing:request-list")
    queue = text_of(teacher.get(reverse("printing:request-list")))
    assert "axle broke" in queue
    assert "urgent" in queue
    teacher.post(url(wheels, "budget"), {"grams": "1"})
    assert "Over the budget" in text_of(teacher.get(url(wheels, "detail")))
    move = {"direction": "to", "before": "", "version": Room.objects.get(pk=world.room.pk).queue_version}
    assert teacher.post(url(wheels, "move"), move).url == reverse("printing:request-list")
    assert teacher.post(url(wheels, "move"), {**move, "before": "x"}).status_code == 404


def test_a_change_is_told_with_what_it_did_to_every_lab_day(world, signed_in):
    """Two teams' wheels planned for real; one is put on hold, and the plan after it stands beside the one before."""
    with_meshes(world)
    request = ordered_mesh(world)
    ordered_mesh(world, world.second_team)
    plan_now()
    teacher = signed_in(world.teacher)
    before = world.room.plans.first()
    teacher.post(url(request, "hold"), {"held": "yes"})
    pending = text_of(teacher.get(reverse("printing:request-list")))
    assert "The room is planned anew" in pending
    plan_now()
    after = world.room.plans.first()
    assert after.pk > before.pk
    told = text_of(teacher.get(reverse("printing:request-list")))
    assert "What your last change did" in told
    assert f"{world.school_class}" in told
    for plan in (before, after):
        chance = plan.facts["chance_by_assignment"].get(str(world.assignment.pk))
        if chance is not None:
            assert f"{in_100(chance)} in 100" in told
