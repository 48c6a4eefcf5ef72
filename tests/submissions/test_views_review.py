"""The review desk, as a teacher's browser asks for it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lessons.models import Assignment, Meeting
from submissions.models import Review, Submission
from submissions.states import State
from tests.submissions.make import make_submission

pytestmark = pytest.mark.django_db


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def desk(pk: int, verb: str = "") -> str:
    return reverse(f"submissions:review-{verb or 'desk'}", args=[pk])


@pytest.fixture
def teacher(world, signed_in):
    return signed_in(world.teacher)


def waiting(world, **values) -> Submission:
    return make_submission(world, **{"state": State.HANDED_IN, **values})


@pytest.mark.parametrize(
    ("name", "status"),
    [
        ("student", 404),
        ("far_student", 404),
        ("teacher", 200),
        ("far_teacher", 404),
        ("technician", 404),
        ("administrator", 200),
        ("other_teacher", 404),
    ],
)
def test_who_sits_at_the_desk(world, signed_in, name, status):
    submission = waiting(world)
    client = signed_in(world.people()[name])
    assert client.get(desk(submission.pk)).status_code == status
    if status == 404:
        assert client.post(desk(submission.pk, "approve")).status_code == 404
        assert client.post(desk(submission.pk, "return"), {"note": "no"}).status_code == 404
        submission.refresh_from_db()
        assert submission.state == State.HANDED_IN


@pytest.mark.parametrize(("name", "status"), [("student", 404), ("technician", 404), ("far_teacher", 200)])
def test_who_has_a_pile(world, signed_in, name, status):
    client = signed_in(world.people()[name])
    assert client.get("/review/").status_code == status
    expected = 404 if status == 404 else 302
    assert client.post(reverse("submissions:review-approve-passing")).status_code == expected


def test_the_report_leads_the_teacher_to_the_desk_and_nobody_else(world, teacher, signed_in):
    submission = waiting(world)
    report = reverse("submissions:submission-report", args=[submission.pk])
    assert desk(submission.pk) in text_of(teacher.get(report))
    for person in (world.student, world.technician):
        assert desk(submission.pk) not in text_of(signed_in(person).get(report))


def test_an_empty_pile_is_calm(world, teacher):
    make_submission(world)
    assert "Nothing waits for you" in text_of(teacher.get("/review/"))


def test_the_soonest_meeting_comes_first(world, teacher):
    soon = world.meeting.starts_at - timedelta(days=1)
    meeting = Meeting.objects.create(
        school_class=world.school_class, starts_at=soon, ends_at=soon + timedelta(minutes=50)
    )
    sooner = Assignment.objects.create(
        plan=world.plan, school_class=world.school_class, meeting=meeting, upload_by=timezone.now()
    )
    waiting(world)
    first = waiting(world, assignment=sooner)
    assert teacher.get("/review/").url == desk(first.pk)


def test_the_desk_shows_what_is_needed_to_decide(world, teacher):
    Assignment.objects.update(mass_max_g=12.0)
    submission = waiting(world, verdict="advice")
    page = text_of(teacher.get(desk(submission.pk)))
    for words in (
        "It can print. One piece of advice",
        "0 must fix, 1 advice, 1 pass",
        "Five spokes start above the bed",
        "<title>The wheel</title>",
        "mass, at most 12.0 g",
        "g·cm²",
        "Team 1 wheel",
        "period 3",
    ):
        assert words in page, words


def test_ready_sentences_come_from_the_findings(world, teacher):
    submission = waiting(world, verdict="must_fix")
    page = text_of(teacher.get(desk(submission.pk)))
    sentence = (
        "The hub hole is too small for the axle: 2.95 mm, allowed 3.15 to 3.30 mm. "
        "Set the diameter of the hole to 3.2 mm."
    )
    assert sentence in page
    teacher.post(desk(submission.pk, "return"), {"sentences": ["0"], "note": "Nice rim!", "seen": "handed_in"})
    assert Review.objects.get().note == f"{sentence}\nNice rim!"


def test_a_sentence_already_in_the_note_is_not_doubled(world, teacher):
    submission = waiting(world, verdict="advice")
    note = "Five spokes start above the bed: 6.3 cm2, allowed 4 cm2. Let the spokes start at the bed."
    teacher.post(desk(submission.pk, "return"), {"sentences": ["0"], "note": note})
    assert Review.objects.get().note == note


def test_why_it_was_handed_in_anyway_is_shown(world, teacher):
    submission = waiting(world, verdict="must_fix", hand_in_note="To see it jam.")
    assert "To see it jam." in text_of(teacher.get(desk(submission.pk)))


def test_approving_goes_on_to_the_next(world, teacher):
    first, second, third = (
        waiting(world),
        waiting(world, team=world.second_team),
        waiting(world, kit_part=world.chassis),
    )
    assert teacher.post(desk(second.pk, "approve")).url == desk(third.pk)
    assert teacher.post(desk(third.pk, "approve")).url == desk(first.pk)
    done = teacher.post(desk(first.pk, "approve"), follow=True)
    assert "Nothing waits for you" in text_of(done)
    assert "is approved" in text_of(done)
    assert set(Submission.objects.values_list("state", flat=True)) == {State.APPROVED}


def test_sending_back_without_a_note_is_told_in_place(world, teacher):
    submission = waiting(world)
    answer = teacher.post(desk(submission.pk, "return"), {"note": "  ", "seen": "handed_in"})
    assert answer.status_code == 422
    page = text_of(answer)
    assert '<details id="send-back" class="card tight" open>' in page
    assert "Say what to change" in page
    submission.refresh_from_db()
    assert submission.state == State.HANDED_IN


def test_a_note_that_is_too_long_is_kept(world, teacher):
    submission = waiting(world)
    answer = teacher.post(desk(submission.pk, "return"), {"note": "y" * 2001})
    assert answer.status_code == 422
    assert "y" * 2001 in text_of(answer)


def test_sending_back_goes_on_and_the_team_reads_why(world, teacher, signed_in):
    submission = waiting(world)
    answer = teacher.post(desk(submission.pk, "return"), {"note": "Thicker spokes.", "seen": "handed_in"}, follow=True)
    assert "goes back to Team 1" in text_of(answer)
    report = reverse("submissions:submission-report", args=[submission.pk])
    page = text_of(signed_in(world.student).get(report))
    assert "teacher sent it back" in page
    assert "Thicker spokes." in page


def test_the_second_decision_is_told_it_was_too_late(world, teacher):
    submission = waiting(world)
    teacher.post(desk(submission.pk, "approve"))
    again = text_of(teacher.post(desk(submission.pk, "approve"), follow=True))
    assert "This part is approved now" in again
    late = teacher.post(desk(submission.pk, "return"), {"note": "No.", "seen": "handed_in"}, follow=True)
    assert "Somebody was quicker" in text_of(late)
    assert Review.objects.count() == 1


def test_an_approved_part_can_be_sent_back_on_purpose(world, teacher):
    submission = waiting(world, state=State.APPROVED)
    page = text_of(teacher.get(desk(submission.pk)))
    assert 'value="approved"' in page
    assert "Approve <kbd>" not in page
    teacher.post(desk(submission.pk, "return"), {"note": "I looked again.", "seen": "approved"})
    submission.refresh_from_db()
    assert submission.state == State.RETURNED


def test_a_draft_can_be_looked_at_and_not_decided(world, teacher):
    submission = make_submission(world)
    page = text_of(teacher.get(desk(submission.pk)))
    assert "Approve <kbd>" not in page
    assert "send-back" not in page


def test_a_draft_being_checked_can_be_looked_at(world, teacher):
    submission = make_submission(world, check_state="checking", verdict="", report=None, mass_g=None, duration_s=None)
    assert teacher.get(desk(submission.pk)).status_code == 200


def test_approve_all_that_pass(world, teacher):
    fine, also, advised = (
        waiting(world),
        waiting(world, team=world.second_team),
        waiting(world, kit_part=world.chassis, verdict="advice"),
    )
    page = text_of(teacher.get(desk(fine.pk)))
    assert "Approve all 2 that pass" in page
    answer = teacher.post(
        reverse("submissions:review-approve-passing"), {"seen": [fine.pk, also.pk, advised.pk, "x"]}, follow=True
    )
    assert "2 parts are approved." in text_of(answer)
    advised.refresh_from_db()
    assert advised.state == State.HANDED_IN


def test_later_and_earlier_lead_through_the_pile(world, teacher):
    first, second, third = (
        waiting(world),
        waiting(world, team=world.second_team),
        waiting(world, kit_part=world.chassis),
    )
    page = text_of(teacher.get(desk(second.pk)))
    assert f'href="{desk(third.pk)}" data-key="l"' in page
    assert f'href="{desk(first.pk)}" data-key="j"' in page
    assert "2 <small>of 3</small>" in page


def test_the_desk_needs_few_queries(world, teacher, django_assert_max_num_queries):
    submission = waiting(world, verdict="advice")
    for version in range(2, 12):
        waiting(world, version=version)
    with django_assert_max_num_queries(12):
        teacher.get(desk(submission.pk))


@pytest.mark.parametrize("verb", ["approve", "return"])
def test_decisions_are_posts(world, teacher, verb):
    submission = waiting(world)
    assert teacher.get(desk(submission.pk, verb)).status_code == 405


def test_signed_out_people_sign_in_first(world, client):
    submission = waiting(world)
    for address in ("/parts/", "/review/", desk(submission.pk)):
        answer = client.get(address)
        assert answer.status_code == 302
        assert "/sign-in/" in answer.url
