"""Student and teacher at the same part at once, with the print requests an approval writes."""

from __future__ import annotations

import threading

import pytest
from django.db import DatabaseError

from submissions import actions
from submissions.models import Review
from submissions.states import State
from tests.submissions.make import make_submission

pytestmark = pytest.mark.django_db


def test_a_version_handed_in_while_the_one_before_is_approved(at_once, world, monkeypatch):
    """The student's step holds the team and wants the older version; the teacher's holds that version and writes rows
    that name the team. Neither waits for the other until the database gives one of them up."""
    older, newer = at_once(
        lambda: make_submission(world, version=1, state=State.HANDED_IN), lambda: make_submission(world, version=2)
    )
    has_team, has_older = threading.Event(), threading.Event()
    replace, move = actions._replace, actions._move

    def late_replace(*parts) -> None:
        has_team.set()
        has_older.wait(2)
        replace(*parts)

    def late_after_move(submission, step, *more, **changes) -> None:
        move(submission, step, *more, **changes)
        if step == "approve":
            has_older.set()
            has_team.wait(2)

    monkeypatch.setattr(actions, "_replace", late_replace)
    monkeypatch.setattr(actions, "_move", late_after_move)
    handed_in, approved = at_once(
        lambda: actions.hand_in(world.student, newer), lambda: actions.approve(world.teacher, older)
    )
    assert not any(isinstance(result, DatabaseError) for result in (handed_in, approved)), [handed_in, approved]
    assert [handed_in is None, isinstance(approved, Review)].count(True) >= 1, [handed_in, approved]
