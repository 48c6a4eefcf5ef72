"""How a lab day stands, counted by hand from what was made; who sees it; the reminder and the hand-out list."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lessons.actions import kits
from lessons.models import Assignment, KitPart, Meeting, Membership
from lessons.plans.kit import fingerprint
from printing import actions
from printing.models import PrintCopy, RoomPlan
from printing.readiness import Readiness, Stage, readiness_of, state_mark
from printing.states import CopyState
from submissions.actions import hand_in, return_with_note
from submissions.models import Submission
from tests.printing.helpers import approved_wheel, make_plate, ordered, started
from tests.submissions.make import make_submission
from tests.world import World, make_student

pytestmark = pytest.mark.django_db


@pytest.fixture
def two_teams(world: World) -> World:
    """Both teams of 7B have a student. Each needs four wheels of its own and one chassis."""
    make_student(world.school_class, world.second_team, "Zuri")
    return world


def stand(world: World, plan: RoomPlan | None = None) -> Readiness:
    return readiness_of([world.assignment], [plan] if plan else [])[0]


def stages(readiness: Readiness, team: int = 0) -> list[Stage]:
    return [part.stage for part in readiness.teams[team].parts]


def test_nothing_yet(two_teams):
    found = stand(two_teams)
    assert stages(found) == [Stage.NO_FILE, Stage.AFTER_REVIEW]
    assert (found.designs, found.handed_in, found.approved, found.copies, found.ordered) == (2, 0, 0, 10, 0)
    assert state_mark(found).text == "designs missing: 2"
    assert "Team 1, Crew 1: wheel, no file uploaded yet" in found.reminders
    assert "Team 2" in found.reminders


def test_from_the_first_file_to_the_tray(two_teams):
    world = two_teams
    draft = make_submission(world, state="draft")
    assert stages(stand(world))[0] == Stage.DRAFT
    assert "uploaded, but not handed in" in stand(world).reminders
    hand_in(world.student, draft)
    found = stand(world)
    assert (stages(found)[0], found.handed_in, found.to_review) == (Stage.TO_REVIEW, 1, 1)
    draft.refresh_from_db()
    return_with_note(world.teacher, draft, "The hole is too small.")
    assert stages(stand(world))[0] == Stage.RETURNED
    request = ordered(world)
    found = stand(world)
    assert stages(found) == [Stage.WAITING, Stage.WAITING]
    assert (found.approved, found.ordered, found.planned) == (1, 5, 0)
    plate = make_plate(world, request)
    assert stand(world).planned == 4
    run = started(world, plate)
    found = stand(world)
    assert (found.printing, found.planned, stages(found)[0]) == (4, 0, Stage.PRINTING)
    copies = list(request.copies.order_by("number"))
    actions.mark_partly(run, world.technician, {copies[0].pk: "came_off"})
    found = stand(world)
    assert (found.in_tray, stages(found)[0]) == (3, Stage.WAITING)
    assert found.teams[0].parts[0].mark.text == "waits for a plate, 3 of 4 there"
    PrintCopy.objects.filter(request__team=world.team).update(state=CopyState.IN_TRAY, plate=plate)
    found = stand(world)
    assert (found.in_tray, found.teams_ready, found.is_ready) == (5, 1, False)
    assert "Team 1" not in found.reminders


def test_four_wheels_in_one_file_are_one_copy(two_teams):
    approved_wheel(two_teams, copies_in_file=4)
    assert stand(two_teams).teams[0].parts[0].needed == 1
    assert stages(stand(two_teams))[0] == Stage.NOT_ORDERED


def test_spares_and_other_versions_do_not_count(two_teams):
    world = two_teams
    old = ordered(world)
    make_plate(world, old)
    PrintCopy.objects.filter(request=old).update(state=CopyState.IN_TRAY)
    Submission.objects.filter(pk=old.submission_id).update(state="replaced")
    new = ordered(world)
    assert stand(world).teams[0].parts[0].in_tray == 0, "wheels of a replaced version are not this team's wheels"
    actions.order_spares(world.assignment, world.teacher, 2)
    assert new.copies.count() == 6
    assert stand(world).ordered == 5


def test_a_newer_draft_does_not_hide_what_is_approved(two_teams):
    ordered(two_teams)
    make_submission(two_teams, state="draft", version=9)
    assert stages(stand(two_teams))[0] == Stage.WAITING


def test_a_part_taken_out_of_the_kit_is_asked_of_nobody(two_teams, signed_in):
    """Neither before it was ordered nor after: what is there already harms nothing, and what is left decides."""
    world = two_teams
    request = ordered(world)
    chassis = world.chassis
    plate = make_plate(world, request)
    PrintCopy.objects.filter(request=request).update(state=CopyState.IN_TRAY, plate=plate)
    assert not stand(world).teams[0].is_ready  # its chassis waits
    kits.remove_part(world.teacher, chassis, fingerprint(KitPart.objects.get(pk=chassis.pk)), known=True)
    chassis.refresh_from_db()
    assert chassis.archived_at is not None
    found = stand(world)
    assert found.kit_parts == (world.wheel,)
    assert (found.copies, found.in_tray) == (8, 4)
    assert found.teams[0].is_ready
    assert chassis.name not in found.reminders
    page = signed_in(world.teacher).get(reverse("printing:meeting-readiness", args=[world.meeting.pk]))
    assert (page.status_code, chassis.name in page.content.decode()) == (200, False)


def test_the_forecast_is_the_plans(two_teams):
    world = two_teams
    ordered(world)
    kit = {"assignment": world.assignment.pk, "team": world.team.pk, "ready_at": None, "late_min": 0, "chance": 0.42}
    facts = {"kits": [kit], "chance_by_assignment": {str(world.assignment.pk): 0.4}}
    plan = RoomPlan(room=world.room, facts=facts)
    found = stand(world, plan)
    assert (found.chance_in_100, found.teams[0].chance_in_100, found.teams[1].chance_in_100) == (40, 42, None)
    assert found.teams_late == 1
    assert state_mark(found).kind == "bad"


def test_of_two_rooms_the_worse_counts(two_teams):
    world = two_teams
    ordered(world)
    base = {"assignment": world.assignment.pk, "team": world.team.pk, "late_min": 0}
    plans = [
        RoomPlan(facts={"kits": [{**base, "ready_at": f"2027-03-0{day}T09:00:00+00:00", "chance": chance}]})
        for day, chance in ((1, 0.9), (3, 0.6))
    ]
    row = readiness_of([world.assignment], plans)[0].teams[0]
    assert (row.chance_in_100, row.ready_at.day, row.is_late) == (60, 3, False)


def test_many_lessons_take_no_more_queries(two_teams, django_assert_num_queries):
    world = two_teams
    ordered(world)
    assignments = [world.assignment]
    for days in range(1, 5):
        start = world.meeting.starts_at + timedelta(days=days)
        meeting = Meeting.objects.create(
            school_class=world.school_class, starts_at=start, ends_at=start + timedelta(minutes=50)
        )
        assignments.append(
            Assignment.objects.create(
                plan=world.plan, school_class=world.school_class, meeting=meeting, upload_by=start
            )
        )
    for some in (assignments[:1], assignments):
        with django_assert_num_queries(4):
            readiness_of(some, [])


def test_nobody_in_a_team_is_asked_for_nothing(world):
    assert [row.team for row in stand(world).teams] == [
        team for team in world.school_class.teams.all() if team.memberships.exists()
    ]


class TestPages:
    def pages(self, world) -> list[str]:
        pk = world.meeting.pk
        return [reverse("printing:meeting-readiness", args=[pk]), reverse("printing:meeting-hand-out", args=[pk])]

    @pytest.mark.parametrize(
        ("who", "status"),
        [("teacher", 200), ("administrator", 200), ("technician", 200), ("far_teacher", 404), ("student", 404),
         ("far_student", 404), ("other_teacher", 404), ("other_student", 404)],
    )  # fmt: skip
    def test_who_sees_them(self, two_teams, signed_in, who, status):
        ordered(two_teams)
        client = signed_in(two_teams.people()[who])
        assert [client.get(page).status_code for page in self.pages(two_teams)] == [status, status]

    def test_the_week(self, two_teams, signed_in):
        day = timezone.localtime(two_teams.meeting.starts_at).date()
        address = reverse("printing:readiness-week")
        link = reverse("printing:meeting-readiness", args=[two_teams.meeting.pk])
        teacher, far = signed_in(two_teams.teacher), signed_in(two_teams.far_teacher)
        assert link in teacher.get(address, {"week": f"{day}"}).content.decode()
        assert link not in teacher.get(address, {"week": f"{day + timedelta(days=14)}"}).content.decode()
        assert link not in far.get(address, {"week": f"{day}"}).content.decode()
        assert teacher.get(address, {"week": "soon"}).status_code == 200
        assert signed_in(two_teams.student).get(address).status_code == 404

    def test_looking_changes_nothing(self, two_teams, signed_in):
        ordered(two_teams)
        before = list(PrintCopy.objects.order_by("pk").values()), two_teams.room.revision
        for page in self.pages(two_teams):
            signed_in(two_teams.teacher).get(page)
        two_teams.room.refresh_from_db()
        assert (list(PrintCopy.objects.order_by("pk").values()), two_teams.room.revision) == (
            before[0],
            two_teams.room.revision,
        )

    @pytest.mark.parametrize("who", ["teacher", "technician"])
    def test_nobody_is_led_to_a_page_that_is_not_theirs(self, two_teams, signed_in, who):
        make_submission(two_teams, state="handed_in")
        client = signed_in(two_teams.people()[who])
        link = reverse("submissions:review-list")
        offered = f'href="{link}"' in client.get(self.pages(two_teams)[0]).content.decode().split("<main")[1]
        assert offered is (client.get(link).status_code != 404)
        assert offered is (who == "teacher")

    def test_the_hand_out_list_goes_by_tray(self, two_teams, signed_in):
        two_teams.team.tray = 30
        two_teams.team.save()
        page = signed_in(two_teams.teacher).get(self.pages(two_teams)[1]).content.decode()
        assert page.index("Crew 2") < page.index("Crew 1")
        assert "Zuri" in page
        assert "wheel: 0 of 4" in page


def test_a_class_without_students_is_not_being_printed(world):
    Membership.objects.filter(school_class=world.school_class).delete()
    found = stand(world)
    assert (found.teams, state_mark(found).text) == ((), "no team has students")
