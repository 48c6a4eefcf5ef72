"""Of two who are at it at once, one wins and the other is told."""

from __future__ import annotations

import pytest

from makerlab.audit.models import Event
from submissions import actions
from submissions.models import Review, Submission
from submissions.states import NotAllowedNow, State
from tests.submissions.make import make_submission, stl_upload, stored_files, wheel_stl

pytestmark = pytest.mark.django_db


def of_kind(results, kind):
    return [result for result in results if isinstance(result, kind)]


def test_twenty_approvals_at_once_one_wins(at_once, world):
    with_file = make_submission_in(at_once, world, State.HANDED_IN)
    copies = at_once(*[lambda: Submission.objects.get(pk=with_file)] * 20)
    results = at_once(*[lambda seen=seen: actions.approve(world.teacher, seen) for seen in copies])
    assert len(of_kind(results, Review)) == 1, results
    assert len(of_kind(results, NotAllowedNow)) == 19, results
    assert at_once(Review.objects.count, Event.objects.filter(verb="approve").count) == [1, 1]


def test_approve_and_take_back_at_once_one_wins(at_once, world):
    pk = make_submission_in(at_once, world, State.HANDED_IN)
    for_teacher, for_student = at_once(*[lambda: Submission.objects.get(pk=pk)] * 2)
    results = at_once(
        lambda: actions.approve(world.teacher, for_teacher), lambda: actions.take_back(world.student, for_student)
    )
    assert len(of_kind(results, NotAllowedNow)) == 1, results


def test_two_uploads_at_once_get_versions_1_and_2(at_once, world):
    uploads = [stl_upload(wheel_stl(1)), stl_upload(wheel_stl(2))]
    results = at_once(
        *[
            lambda file=file: actions.upload_part(world.student, world.assignment, world.wheel, file).version
            for file in uploads
        ]
    )
    assert sorted(results) == [1, 2]


def test_the_same_file_uploaded_twenty_times_at_once_is_taken_once(at_once, world):
    results = at_once(*[lambda: actions.upload_part(world.student, world.assignment, world.wheel, stl_upload())] * 20)
    assert len(of_kind(results, Submission)) == 1, results
    assert len(of_kind(results, actions.AlreadyHere)) == 19, results
    assert len(stored_files()) == 1


def test_two_versions_handed_in_at_once_leave_one(at_once, world):
    first, second = at_once(lambda: make_submission(world, version=1), lambda: make_submission(world, version=2))
    results = at_once(lambda: actions.hand_in(world.student, first), lambda: actions.hand_in(world.student, second))
    assert of_kind(results, Exception) == []
    states = at_once(lambda: sorted(Submission.objects.values_list("state", flat=True)))[0]
    assert states == [State.HANDED_IN, State.REPLACED]


def make_submission_in(at_once, world, state) -> int:
    return at_once(lambda: make_submission(world, state=state).pk)[0]
