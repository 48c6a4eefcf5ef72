"""What programs read: the same rows their token's owner sees on the pages, and no other."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from lessons.models import Assignment
from makerlab.api.scopes import Scope
from printing import actions as room_actions
from printing.models import Plate, Run
from submissions import actions
from submissions.models import Submission
from tests.makerlab.api.calling import ALL, Caller, refused
from tests.makerlab.site_addresses import objects, other_side
from tests.printing.helpers import make_plate, ordered, started
from tests.submissions.make import make_submission
from tests.world import World, make_student

pytestmark = pytest.mark.django_db
LISTS = {"/assignments": Assignment, "/submissions": Submission, "/runs": Run}


def two_schools(world: World) -> World:
    """Both schools filled alike, and a class of our own that is not the teacher's; returns the other school."""
    objects(world)
    world.far_class.meetings.create(starts_at=world.meeting.starts_at, ends_at=world.meeting.ends_at)
    far = Assignment.objects.create(
        plan=world.plan, school_class=world.far_class, meeting=world.far_class.meetings.get(),
        upload_by=world.assignment.upload_by,
    )  # fmt: skip
    make_submission(world, assignment=far, team=world.far_team, state="handed_in")
    return other_side(world)


@pytest.mark.parametrize("who", ["student", "far_student", "teacher", "far_teacher", "technician", "administrator"])
@pytest.mark.parametrize("path", LISTS)
def test_lists_hold_what_the_owner_sees_and_nothing_else(world, who, path):
    """A student has no tokens; one written into the database past all checks still shows only the student's own."""
    two_schools(world)
    owner = getattr(world, who)
    items = Caller(owner).get(path).json()["items"]
    expected = LISTS[path].objects.visible_to(owner).order_by("pk")
    assert [item["id"] for item in items] == list(expected.values_list("pk", flat=True))
    assert bool(items) is not (who in {"student", "far_student"} and path == "/runs")


@pytest.mark.parametrize("path", [*LISTS, "/rooms"])
def test_nothing_of_the_other_school(world, path):
    other = two_schools(world)
    ours, theirs = Caller(world.administrator).get(path).json(), Caller(other.administrator).get(path).json()
    ours, theirs = (told if isinstance(told, list) else told["items"] for told in (ours, theirs))
    assert ours
    assert theirs
    assert not {each["id"] for each in ours} & {each["id"] for each in theirs}


def test_of_another_class_or_school_is_like_what_is_not_there(world):
    """The body too: it does not tell that there is something."""
    other = two_schools(world)
    mine = Submission.objects.visible_to(world.teacher).first()
    far = Submission.objects.get(team=world.far_team)
    theirs = Submission.objects.visible_to(other.teacher).first()
    run = Run.objects.visible_to(other.technician).first()
    caller = Caller(world.teacher)
    assert caller.get(f"/submissions/{mine.pk}").status_code == 200
    missing = caller.get("/submissions/987654321").content
    for path in (
        f"/submissions/{far.pk}", f"/submissions/{theirs.pk}", f"/runs/{run.pk}", f"/rooms/{other.room.pk}/queue",
        f"/rooms/{other.room.pk}/plan", f"/assignments/{other.assignment.pk}/lab",
        f"/assignments/{far.assignment_id}/lab",
    ):  # fmt: skip
        answer = caller.get(path)
        refused(answer, 404, "not_found")
        assert answer.content == missing, path


PATHS = {
    Scope.SUBMISSIONS_READ: ("/submissions", "/submissions/{submission}"),
    Scope.QUEUE_READ: ("/rooms/{room}/queue",),
    Scope.PLAN_READ: ("/rooms/{room}/plan",),
    Scope.RUNS_READ: ("/runs", "/runs/{run}"),
    Scope.LAB_READ: ("/assignments/{lab}/lab",),
}


def test_each_address_wants_its_scope(world):
    known = {noun: thing.pk for noun, thing in objects(world).items()}
    paths = [(scope, path.format(**known)) for scope, some in PATHS.items() for path in some]
    assert len(paths) == 7
    everything = Caller(world.administrator)
    for _scope, path in paths:
        assert everything.get(path).status_code == 200, path
    technician = Caller(world.technician, scopes=())
    for _scope, path in paths:
        refused(technician.get(path), 403, "not_allowed")
    for scope, path in paths:
        teacher = world.teacher
        teacher.api_tokens.all().delete()
        refused(Caller(teacher, scopes=tuple(each for each in ALL if each != scope)).get(path), 403, "not_allowed")
        teacher.api_tokens.all().delete()
        assert Caller(teacher, scopes=(scope.value,)).get(path).status_code == 200


def test_a_submission_with_figures_findings_and_reviews(world):
    submission = make_submission(world, state="handed_in", verdict="must_fix")
    actions.return_with_note(world.teacher, submission, "Make the hole wider.")
    told = Caller(world.teacher).get(f"/submissions/{submission.pk}").json()
    assert (told["state"], told["verdict"], told["mass_g"], told["print_minutes"]) == ("returned", "must_fix", 9.8, 36)
    assert [finding["code"] for finding in told["findings"]] == ["hole_small", "overhang", "closed"]
    assert [(each["decision"], each["note"]) for each in told["reviews"]] == [("returned", "Make the hole wider.")]
    at = parse_datetime(told["uploaded_at"])
    assert at is not None
    assert at.utcoffset() is not None, "times have their zone"
    assert abs(at - submission.uploaded_at) < timedelta(milliseconds=1)


def test_the_queue_as_it_stands_with_its_copies(world):
    request = ordered(world)
    make_plate(world, request)
    told = Caller(world.teacher).get(f"/rooms/{world.room.pk}/queue").json()
    world.room.refresh_from_db()
    assert (told["revision"], told["queue_version"]) == (world.room.revision, world.room.queue_version)
    first = told["requests"][0]
    assert (first["id"], first["submission"], first["team"]) == (request.pk, request.submission_id, world.team.pk)
    assert first["copies"] == {"waiting": 0, "planned": 4, "printing": 0, "in_tray": 0, "cancelled": 0}
    assert Caller(world.far_teacher).get(f"/rooms/{world.room.pk}/queue").json()["requests"] == []


def test_the_plan_and_runs(world):
    plate = make_plate(world)
    run = started(world, plate)
    caller = Caller(world.technician)
    (told,) = caller.get(f"/rooms/{world.room.pk}/plan").json()["plates"]
    assert (told["id"], told["state"], told["printer"]) == (plate.pk, "printing", world.printers[0].pk)
    assert (told["mass_g"], told["print_minutes"]) == (44.0, 120.0)
    whole = caller.get(f"/runs/{run.pk}").json()
    assert (whole["outcome"], whole["expected_minutes"], len(whole["copies"])) == ("running", 120.0, 4)
    assert {copy["good"] for copy in whole["copies"]} == {None}
    lost = whole["copies"][0]["copy_id"]
    room_actions.mark_partly(run, world.technician, {lost: "warped"})
    after = {copy["copy_id"]: copy for copy in caller.get(f"/runs/{run.pk}").json()["copies"]}
    assert (after[lost]["good"], after[lost]["reason"]) == (False, "warped")
    assert sum(copy["good"] for copy in after.values()) == 3
    assert caller.get("/runs", outcome="running").json()["items"] == []
    assert Plate.objects.get(pk=plate.pk).state == "cleared"


def test_pages_of_a_list_are_bounded_and_hold_every_row_once(world):
    made = [make_submission(world, version=number).pk for number in range(1, 8)]
    caller, seen, after = Caller(world.teacher), [], {}
    for size in (3, 3, 1):
        told = caller.get("/submissions", limit=3, **after).json()
        assert len(told["items"]) == size
        seen += [item["id"] for item in told["items"]]
        after = {"after": told["next"]}
    assert seen == made
    assert told["next"] is None
    for limit in (0, 101, "many"):
        answer = caller.get("/submissions", limit=limit)
        refused(answer, 422, "invalid")
        assert answer.json()["errors"][0]["where"] == "query/limit"


def test_since_gives_what_changed(world):
    still, moved = make_submission(world), make_submission(world, version=2)
    Submission.objects.update(checked_at=timezone.now() - timedelta(hours=2))
    since = timezone.now().isoformat()
    caller = Caller(world.teacher)
    assert caller.get("/submissions", since=since).json()["items"] == []
    actions.hand_in(world.student, moved)
    assert [each["id"] for each in caller.get("/submissions", since=since).json()["items"]] == [moved.pk]
    Submission.objects.filter(pk=still.pk).update(checked_at=timezone.now())  # measured again
    assert [each["id"] for each in caller.get("/submissions", since=since).json()["items"]] == [still.pk, moved.pk]
    refused(caller.get("/submissions", since="2026-01-05T10:00:00"), 422, "invalid")  # no zone


def test_runs_since_give_those_that_started_ended_or_were_taken_back(world):
    run = started(world)
    Run.objects.update(started_at=timezone.now() - timedelta(hours=1))
    since = timezone.now().isoformat()
    caller = Caller(world.technician)
    assert caller.get("/runs", since=since).json()["items"] == []
    run.refresh_from_db()
    room_actions.finish_run(run, world.technician)
    assert [each["id"] for each in caller.get("/runs", since=since).json()["items"]] == [run.pk]


def test_what_is_the_same_is_not_sent_again(world):
    ordered(world)
    caller = Caller(world.teacher)
    first = caller.get(f"/rooms/{world.room.pk}/queue")
    again = caller.get(f"/rooms/{world.room.pk}/queue", headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    seen = first.json()["revision"]
    for part in ("queue", "plan"):
        assert caller.get(f"/rooms/{world.room.pk}/{part}", since=seen).status_code == 204
    room_actions.plan_again(world.room, world.teacher)
    ordered(world, world.second_team)
    assert caller.get(f"/rooms/{world.room.pk}/queue", headers={"If-None-Match": first["ETag"]}).status_code == 200
    assert caller.get(f"/rooms/{world.room.pk}/queue", since=seen).status_code == 200


def test_a_name_nobody_knows_is_told(world):
    answer = Caller(world.teacher).get("/submissions", sience="2026-01-05T10:00:00Z", limit=3)
    refused(answer, 422, "invalid")
    assert [each["where"] for each in answer.json()["errors"]] == ["query/sience"]


def test_an_address_that_is_none_and_a_method_it_does_not_take(world):
    caller = Caller(world.teacher)
    refused(caller.get("/kites"), 404, "not_found")
    answer = caller.post("/me")
    refused(answer, 405, "wrong_method")
    assert answer["Allow"] == "GET"
    refused(caller.get("/submissions/0"), 422, "invalid")
    assert caller.client.head("/api/v1/me", headers=caller.headers).status_code == 200


def test_the_description_is_open_and_names_nobody(world, client):
    make_student(world.school_class, world.team, "Zephyrine")
    answer = client.get("/api/v1/openapi.json")
    assert answer.status_code == 200
    assert answer.json()["openapi"].startswith("3.1")
    assert "Zephyrine" not in answer.content.decode()
    assert "Alderwick" not in answer.content.decode()
