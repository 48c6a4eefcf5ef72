"""Questions put into SQL once: they answer as the question itself would, for each key anew."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from threading import Barrier, Thread

import pytest
from django.contrib.sessions.models import Session
from django.db import connection, models
from django.db.models import Count, Exists, OuterRef, Q, Value
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from lessons.classes.members import places_of
from lessons.models import Membership, Team
from makerlab.accounts.models import User
from makerlab.prepared import Prepared, _Question
from printing.models import Spool
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


def counted(class_id: int) -> models.QuerySet[Team, tuple[object, ...]]:
    members = Membership.objects.filter(team=OuterRef("pk"))
    teams = Team.objects.filter(school_class=class_id).order_by("pk").annotate(size=Count("memberships"))
    return teams.annotate(used=Exists(members)).values_list("pk", "size", "used", "school_class__created_at")


def test_columns_are_read_as_the_question_reads_them(world):
    """Counts, truths and moments, and a moment and a decimal by themselves, on the database at hand."""
    asked = Prepared(counted)
    for each in (world.school_class, world.far_class):
        assert asked(each.pk) == list(counted(each.pk)) != []
    assert type(asked(world.school_class.pk)[0][2]) is bool
    ends = timezone.now() + timedelta(hours=1)
    Session.objects.create(session_key="k" * 32, session_data="", expire_date=ends)
    of_key = Prepared(lambda key: Session.objects.filter(session_key=key).values_list("expire_date", flat=True))
    assert of_key.first("k" * 32) == ends
    Spool.objects.update(price_per_kg=Decimal("21.50"))
    spool = Spool.objects.first()
    assert spool is not None
    priced = Prepared(lambda pk: Spool.objects.filter(pk=pk).values_list("price_per_kg", flat=True))
    assert priced.first(spool.pk) == Decimal("21.50")


@pytest.mark.parametrize(
    "make",
    [
        lambda pk, other: User.objects.filter(Q(pk=pk + other)),
        lambda pk, other: User.objects.filter(pk=pk, school=other, created_at__lt=timezone.now()),
        lambda pk, other: User.objects.filter(pk=pk, school=other, display_name=f"{other}!"),
        lambda pk, other: User.objects.filter(pk=pk, school=other).annotate(told=Value(str(pk))),
    ],
    ids=["worked out", "a moment", "within another", "told again as text"],
)
def test_a_question_of_which_something_would_stay_as_it_was_cannot_be_prepared(db, make):
    with pytest.raises(ValueError, match="cannot be prepared"):
        Prepared(make)(1, 2)


def test_who_is_signed_in_is_read_as_select_related_reads_it(world):
    """With the school and what was annotated, and can be saved."""

    def people(pk: int):
        return User.objects.filter(pk=pk).annotate(places=Count("memberships")).select_related("school")

    asked = Prepared(people)
    for person in (world.student, world.other_teacher, world.student):
        found, wanted = asked.first(person.pk), people(person.pk).get()
        assert found is not None
        assert {**found.__dict__, "_state": None} == {**wanted.__dict__, "_state": None}
        assert found.school == wanted.school
    found.display_name = "New"
    found.save()
    assert User.objects.get(pk=found.pk).display_name == "New"


def test_threads_ask_side_by_side(at_once, world):
    """Each by its own connection: no answer goes to another's question."""
    asked = Prepared(lambda pk: User.objects.filter(pk=pk).select_related("school"))
    people = list(world.people().values())
    answers = at_once(*(lambda person=person: [asked.first(person.pk) for _time in range(50)] for person in people))
    for person, found in zip(people, answers, strict=True):
        assert found == [person] * 50


def test_threads_that_share_a_connection_each_ask_with_their_own_values():
    question = _Question(numbers.make, (0,))
    both_set, bound = Barrier(2), {}

    def ask(class_id: int) -> None:
        question.asked.values = (class_id,)
        both_set.wait(5)
        bound[class_id] = question.as_sql()[1]

    threads = [Thread(target=ask, args=[class_id]) for class_id in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert bound == {1: (1,), 2: (2,)}
