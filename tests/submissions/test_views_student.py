"""My parts and uploading, as a student's browser asks for them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lessons.models import Assignment, PartGauge, SchoolClass
from makerlab.work.actions import enqueue, run_waiting
from submissions import queries
from submissions.models import Review, Submission
from submissions.progress import PartProgress, Stage
from submissions.states import State
from tests.submissions.make import make_submission, post_file, stl_upload, text_of, wheel_stl
from tests.world import make_kit_part, make_student

pytestmark = pytest.mark.django_db
PARTS = "/parts/"


# ---- my parts ------------------------------------------------------------------------------------------------


def test_says_what_to_make_and_what_to_keep(world, student):
    world.wheel.task = "Draw a quicker wheel. The hub must stay."
    world.wheel.save()
    PartGauge.objects.filter(kit_part=world.wheel).update(
        hub_diameter_mm=14.0, size_x_mm=70.0, size_y_mm=70.0, size_z_mm=12.0
    )
    Assignment.objects.update(mass_max_g=14.0, duration_max_s=3 * 3600)
    page = text_of(student.get(PARTS))
    assert "<h3>Draw a quicker wheel.</h3>" in page
    assert "The hub must stay." in page
    for label in ("⌀ 3.2<", "+0.10", "−0.05", "⌀ 14<", ">8<", "at most ⌀ 70"):
        assert label in page, label
    assert "Working drawing of the hub of wheel. Keep the hole 3.2 mm across." in page
    assert "14.0" in page
    assert "at most, each one" in page
    assert 'type="file"' in page


def test_a_gauge_without_a_hole_draws_no_hub(world, student):
    PartGauge.objects.filter(kit_part=world.wheel).update(hole_diameter_mm=None)
    assert "Working drawing" not in text_of(student.get(PARTS))


def test_lists_everything_the_team_needs(world, student):
    page = text_of(student.get(PARTS))
    assert "Wheel" in page
    assert "Chassis" in page
    assert "same for every team" in page
    assert "Nothing uploaded yet" in page


def test_shows_own_versions_only(world, student):
    make_submission(world, file_name="ours.stl")
    make_submission(world, team=world.second_team, file_name="theirs.stl")
    page = text_of(student.get(PARTS))
    assert "ours.stl" in page
    assert "theirs.stl" not in page


def test_without_a_team_it_says_what_to_do(world, signed_in):
    page = text_of(signed_in(make_student(world.school_class, None, "Fern")).get(PARTS))
    assert "You are not in a team yet" in page
    assert 'type="file"' not in page


def test_without_an_assignment_it_says_so(world, signed_in):
    assert "No lesson yet" in text_of(signed_in(world.far_student).get(PARTS))


def test_an_assignment_of_another_class_is_not_found(world, signed_in):
    assert signed_in(world.far_student).get(f"{PARTS}?assignment={world.assignment.pk}").status_code == 404


def test_when_time_is_over_there_is_no_drop_zone(world, student):
    Assignment.objects.update(upload_by=timezone.now() - timedelta(hours=1))
    page = text_of(student.get(PARTS))
    assert "The time to upload is over" in page
    assert 'type="file"' not in page


def test_staff_are_sent_home(world, signed_in):
    assert signed_in(world.teacher).get(PARTS).url == "/"


def test_two_lessons_can_be_told_apart(world, student):
    other = Assignment.objects.create(
        plan=world.plan,
        school_class=world.school_class,
        meeting=world.meeting.__class__.objects.create(
            school_class=world.school_class,
            starts_at=world.meeting.starts_at + timedelta(days=7),
            ends_at=world.meeting.ends_at + timedelta(days=7),
        ),
        upload_by=timezone.now() + timedelta(days=6),
    )
    page = text_of(student.get(PARTS))
    assert f"?assignment={other.pk}" in page
    assert reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk]) in page
    page = text_of(student.get(f"{PARTS}?assignment={other.pk}"))
    assert reverse("submissions:submission-create", args=[other.pk, world.wheel.pk]) in page


def test_the_page_needs_few_queries(world, student, django_assert_max_num_queries, told):
    for version in range(1, 6):
        make_submission(world, version=version, state=State.RETURNED)
    with django_assert_max_num_queries(14):
        student.get(PARTS)


# ---- where it is ---------------------------------------------------------------------------------------------


def titles(response) -> list[tuple[str, str]]:
    """State and title of each step on the page."""
    page = response.context["page"]
    return [(step["state"], step["title"]) for step in page.designs[0].steps]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"check_state": "checking"}, [("now", "Checking"), ("next", "Hand in"), ("next", "Approved")]),
        ({"check_state": "failed"}, [("bad", "Checked"), ("next", "Hand in"), ("next", "Approved")]),
        ({"verdict": "must_fix"}, [("bad", "Checked"), ("next", "Hand in"), ("next", "Approved")]),
        ({"verdict": "rejected"}, [("bad", "Checked"), ("next", "Hand in"), ("next", "Approved")]),
        ({}, [("done", "Checked"), ("now", "Hand in"), ("next", "Approved")]),
        ({"state": State.HANDED_IN}, [("done", "Checked"), ("done", "Handed in"), ("now", "Approved")]),
        ({"state": State.RETURNED}, [("done", "Checked"), ("done", "Handed in"), ("bad", "Sent back")]),
        ({"state": State.APPROVED}, [("done", "Checked"), ("done", "Handed in"), ("done", "Approved")]),
    ],
)
def test_steps_follow_the_state(world, student, told, values, expected):
    make_submission(world, **values)
    assert titles(student.get(PARTS))[:3] == expected


@pytest.mark.parametrize(
    ("stage", "done", "expected"),
    [
        (Stage.WAITING, 0, [("now", "Printing"), ("next", "In tray 1")]),
        (Stage.PLANNED, 0, [("now", "Printing"), ("next", "In tray 1")]),
        (Stage.PRINTING, 2, [("now", "Printing"), ("next", "In tray 1")]),
        (Stage.IN_TRAY, 4, [("done", "Printed"), ("done", "In tray 1")]),
    ],
)
def test_steps_follow_printing(world, student, told, stage, done, expected):
    submission = make_submission(world, state=State.APPROVED)
    ready = datetime(2026, 11, 17, 20, 0, tzinfo=UTC)
    told.append(
        PartProgress(
            world.wheel.pk, submission.pk, 4, done, "printing on Wren", "live", "s-run", "P6", ready, stage, 91
        )
    )
    response = student.get(PARTS)
    assert titles(response)[3:5] == expected
    page = text_of(response)
    assert "printing on Wren" in page
    assert ("91 in 100" in page) is (done < 4)


def test_progress_of_an_older_version_is_not_shown_for_a_newer_one(world, student, told):
    old = make_submission(world, state=State.REPLACED)
    make_submission(world, version=2, state=State.APPROVED)
    told.append(PartProgress(world.wheel.pk, old.pk, 4, 0, "printing on Wren", "live", "s-run", stage=Stage.PRINTING))
    assert titles(student.get(PARTS))[3] == ("next", "Printing")


def test_a_version_on_its_way_leads_and_a_newer_draft_is_named(world, student, told):
    make_submission(world, state=State.APPROVED)
    make_submission(world, version=2)
    page = text_of(student.get(PARTS))
    assert "Wheel, version 1" in page
    assert "Version 2 is newer" in page


def test_the_note_of_the_teacher_is_shown(world, student):
    submission = make_submission(world, state=State.RETURNED)
    Review.objects.create(submission=submission, reviewer=world.teacher, decision="returned", note="Thicker <spokes>.")
    assert "Thicker &lt;spokes&gt;." in text_of(student.get(PARTS))


def test_live_parts_answer_204_until_something_changes(world, student, told):
    submission = make_submission(world, state=State.HANDED_IN)
    revision = student.get(PARTS).context["page"].revision
    address = f"{PARTS}?assignment={world.assignment.pk}&since={revision}"
    assert student.get(address, headers={"HX-Request": "true"}).status_code == 204
    Submission.objects.filter(pk=submission.pk).update(state=State.APPROVED)
    answer = student.get(address, headers={"HX-Request": "true"})
    fragment = text_of(answer)
    assert answer.status_code == 200
    assert fragment.startswith('<section id="where"')
    assert 'id="list"' in fragment
    assert 'hx-swap-oob="true"' in fragment
    assert "<html" not in fragment
    assert "hx-trigger" in fragment


def test_asking_whether_anything_changed_is_cheap(world, student, told, django_assert_num_queries):
    """Three classes ask this every quarter of a minute: who it is (two), the team, its versions; no page is built."""
    make_submission(world, state=State.HANDED_IN)
    address = f"{PARTS}?assignment={world.assignment.pk}&since={student.get(PARTS).context['page'].revision}"
    with django_assert_num_queries(4):
        assert student.get(address, headers={"HX-Request": "true"}).status_code == 204


@pytest.mark.parametrize("assignment", ["", "x", "-1", "9" * 17, "9" * 5000, "1e3", "\u0661"])
def test_asking_of_an_assignment_there_is_not(world, student, told, assignment):
    asked = student.get(PARTS, {"assignment": assignment, "since": "x"}, headers={"HX-Request": "true"})
    assert asked.status_code == (404 if assignment else 200)


def test_nobody_learns_of_a_class_they_have_left(world, student, told):
    make_submission(world, state=State.HANDED_IN)
    address = f"{PARTS}?assignment={world.assignment.pk}&since={student.get(PARTS).context['page'].revision}"
    SchoolClass.objects.update(archived_at=timezone.now())
    assert student.get(address, headers={"HX-Request": "true"}).status_code != 204


@pytest.mark.parametrize(
    ("values", "waiting", "seconds"),
    [
        ({"check_state": "checking"}, 1, 4),
        ({"check_state": "checking"}, 40, 10),
        ({"check_state": "checking"}, 200, 15),
        ({"state": State.HANDED_IN}, 40, 15),
        ({}, 40, 0),
    ],
)
def test_asks_again_only_while_something_moves(world, student, told, values, waiting, seconds):
    """... and the more wait, the less often: a class that uploads at once would keep the server busy with asking."""
    make_submission(world, **values)
    for number in range(waiting):
        enqueue(queries.JOB_KIND, number, world.school.pk)
    page = text_of(student.get(PARTS))
    assert (f"every {seconds}s" in page) if seconds else ("hx-trigger" not in page)


# ---- upload --------------------------------------------------------------------------------------------------


def test_the_whole_path_from_upload_to_hand_in(world, student):
    sent = post_file(student, world, stl_upload(wheel_stl(), "Ünser Rad 1.stl"))
    submission = Submission.objects.get()
    address = reverse("submissions:submission-report", args=[submission.pk])
    assert (sent.status_code, sent.url) == (302, address)

    waiting = text_of(student.get(address))
    assert "We are measuring your part" in waiting
    assert "every 1s" in waiting

    run_waiting("measure")
    fragment = text_of(student.get(address, headers={"HX-Request": "true"}))
    assert fragment.startswith('<div id="report">')
    assert "every 1s" not in fragment
    assert "Ready to print: every check passes." in fragment
    assert "The hole fits the gauge" in fragment
    assert "<svg viewBox" in fragment
    assert 'id="checked-cell" hx-swap-oob="true"' in fragment

    page = text_of(student.get(address))
    assert "Ünser Rad 1.stl" in page
    assert "Hand in version 1" in page
    handed = student.post(reverse("submissions:submission-hand-in", args=[submission.pk]), follow=True)
    assert "is handed in. Your teacher looks at it next." in text_of(handed)
    submission.refresh_from_db()
    assert submission.state == State.HANDED_IN
    back = student.post(reverse("submissions:submission-take-back", args=[submission.pk]), follow=True)
    assert "is yours again" in text_of(back)


@pytest.mark.parametrize(
    ("file", "says"),
    [(lambda: stl_upload(b""), "empty"), (lambda: stl_upload(b"x" * 3000), "at most"), (lambda: None, "Choose a file")],
)
def test_a_bad_upload_is_told_in_place_and_loses_nothing(world, student, settings, file, says):
    kept = make_submission(world)
    settings.UPLOAD_MAX_BYTES = 2000
    answer = post_file(student, world, file())
    assert answer.status_code == 422
    assert answer["HX-Push-Url"] == "false"
    page = text_of(answer)
    assert says in page
    assert page.index(says) > page.index('id="hand-in"')
    assert kept.file_name in page
    assert Submission.objects.count() == 1


def test_the_same_file_again_goes_to_the_version_that_is_there(world, student):
    content = wheel_stl()
    post_file(student, world, stl_upload(content))
    answer = post_file(student, world, stl_upload(content))
    page = text_of(student.get(answer.url))
    assert "uploaded this very file already: it is version 1" in page


def test_uploading_late_is_told_in_place(world, student):
    Assignment.objects.update(upload_by=timezone.now() - timedelta(hours=1))
    answer = post_file(student, world, stl_upload())
    assert answer.status_code == 422
    assert "The time to upload is over. Ask" in text_of(answer)


def test_uploading_without_a_team_is_told(world, signed_in):
    answer = post_file(signed_in(make_student(world.school_class, None, "Fern")), world, stl_upload())
    assert answer.status_code == 422
    assert "not in a team yet" in text_of(answer)


@pytest.mark.parametrize("name", ["far_student", "other_student", "teacher", "technician"])
def test_others_do_not_find_where_to_upload(world, signed_in, name):
    assert post_file(signed_in(world.people()[name]), world, stl_upload()).status_code == 404
    assert not Submission.objects.exists()


def test_a_part_of_another_plan_is_not_found(world, student):
    stranger = make_kit_part(
        world.plan.__class__.objects.create(school=world.other_school, title="x", summary="x", grade_band="6"), "clip"
    )
    address = reverse("submissions:submission-create", args=[world.assignment.pk, stranger.pk])
    assert student.post(address, {"file": stl_upload()}).status_code == 404
