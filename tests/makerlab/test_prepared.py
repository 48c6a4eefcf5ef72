"""Questions put into SQL once: they answer as the question itself would, for each key anew."""

from __future__ import annotations

import pytest
from django.db import connection, models
from django.test.utils import CaptureQueriesContext

from lessons.classes.members import places_of
from lessons.models import Membership, Team
from makerlab.accounts.models import User
from makerlab.prepared import Prepared
from submissions import queries
from tests.submissions.make import make_submission
from tests.world import make_world

pytestmark = pytest.mark.django_db


@Prepared
def teams(class_id: int, name: str) -> models.QuerySet[Team]:
    return Team.objects.filter(school_class=class_id).exclude(name=name).select_related("school_class")


@Prepared
def numbers(class_id: int) -> models.QuerySet[Team, tuple[int, str]]:
    return Team.objects.filter(school_class=class_id).values_list("number", "name").order_by("-number")


def test_it_answers_as_the_question_itself_for_each_key():
    world = make_world()
    other = Team.objects.exclude(school_class=world.team.school_class).first()
    for class_id in (world.team.school_class_id, other.school_class_id, world.team.school_class_id, 0):
        asked = Team.objects.filter(school_class=class_id)
        assert teams(class_id, world.team.name) == list(asked.exclude(name=world.team.name))
        assert teams(class_id, "") == list(asked)
        assert numbers(class_id) == list(asked.values_list("number", "name").order_by("-number"))
    assert teams(world.team.school_class_id, "")[0].school_class == world.team.school_class


def test_what_stands_beside_a_row_comes_in_the_same_question_and_every_answer_is_fresh():
    world = make_world()
    (before,) = places_of(world.student.pk)
    Membership.objects.filter(user=world.student).update(nickname="Renamed")
    with CaptureQueriesContext(connection) as asked:
        (after,) = places_of(world.student.pk)
        assert (after.nickname, after.team, after.school_class) == ("Renamed", world.team, world.team.school_class)
    assert len(asked) == 1
    assert before.nickname != "Renamed"


def test_a_question_that_does_not_use_a_key_cannot_be_prepared():
    @Prepared
    def forgetful(class_id: int, team_id: int) -> models.QuerySet[Team]:
        return Team.objects.filter(pk=team_id)

    with pytest.raises(ValueError, match="forgetful"):
        forgetful(1, 2)


def test_a_text_that_django_would_rewrite_each_time_cannot_be_prepared():
    @Prepared
    def alike(name: str) -> models.QuerySet[Team]:
        return Team.objects.filter(name__icontains=name)

    with pytest.raises(ValueError, match="alike"):
        alike("%")


def test_a_student_finds_the_own_teams_parts_and_nobody_elses():
    world = make_world()
    submission = make_submission(world)
    other_school = User.objects.filter(role="student").exclude(school=world.school)
    assert queries.found(world.student, submission.pk) == submission
    assert queries.found(world.student, 10**30) is None
    assert other_school.exists()
    for user in [*other_school, *User.objects.exclude(role="student").exclude(school=world.school)]:
        assert queries.found(user, submission.pk) is None
    Membership.objects.filter(user=world.student).update(team=None)
    assert queries.found(world.student, submission.pk) is None
    assert queries.found(world.teacher, submission.pk) == submission
