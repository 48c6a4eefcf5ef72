"""Pages that ask whether anything is new: who is told 204 before anything else is read, and who is not."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from lessons.models import Membership, SchoolClass, Team
from lessons.views.sign_in import STUDENT_BACKEND
from makerlab.accounts.models import User
from makerlab.news import NEWS, answer
from makerlab.work.models import Job
from submissions.models import Submission
from submissions.states import State
from tests.submissions.make import make_submission

pytestmark = pytest.mark.django_db
PARTS = "/parts/"
HEADERS = re.compile(r"<main[^>]* hx-headers='([^']+)'")


class Watching:
    """A student's browser with the page "my parts" open."""

    def __init__(self, user: User) -> None:
        self.client = Client()
        self.client.force_login(user, backend=STUDENT_BACKEND)
        page = self.client.get(PARTS)
        self.told = json.loads(HEADERS.findall(page.content.decode())[0])[NEWS]
        self.since = page.context["page"].revision
        self.address = f"{PARTS}?assignment={page.context['assignment'].pk}&since={self.since}"

    @property
    def key(self) -> str:
        return self.client.cookies[settings.SESSION_COOKIE_NAME].value

    def request(self, *, told: str | None = None, key: str | None = None, path: str = PARTS, since: str | None = None):
        since = self.since if since is None else since
        request = RequestFactory().get(path, {"since": since}, headers={NEWS: self.told if told is None else told})
        request.COOKIES[settings.SESSION_COOKIE_NAME] = self.key if key is None else key
        return request

    def asks(self, *, told: str | None = None, key: str | None = None, path: str = PARTS, since: str | None = None):
        """Whether it is told at once that nothing is new."""
        told_at_once = answer(self.request(told=told, key=key, path=path, since=since))
        return told_at_once is not None and told_at_once.status_code == 204

    def get(self, **headers: str):
        return self.client.get(self.address, headers={"HX-Request": "true", NEWS: self.told, **headers})


@pytest.fixture
def submission(world) -> Submission:
    return make_submission(world, state=State.HANDED_IN)


@pytest.fixture
def watching(world, submission) -> Watching:
    return Watching(world.student)


def test_nothing_new_is_told_without_reading_the_person(watching, django_assert_num_queries):
    """Session, password, team, versions, copies: five questions, each put into SQL once."""
    assert watching.asks()
    with django_assert_num_queries(5):
        answer = watching.get()
    assert answer.status_code == 204
    assert answer.content == b""
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_what_is_new_comes_at_once(watching, submission):
    Submission.objects.filter(pk=submission.pk).update(state=State.APPROVED)
    assert answer(watching.request()) is None
    assert watching.get().status_code == 200
    assert not watching.asks(since="")


def _deactivated(world, watching):
    User.objects.filter(pk=world.student.pk).update(is_active=False)


def _another_password(world, watching):
    world.student.set_unusable_password()
    world.student.save()


def _signed_out(world, watching):
    Session.objects.filter(session_key=watching.key).delete()


def _session_over(world, watching):
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))


def _another_team(world, watching):
    other = Team.objects.filter(school_class=world.school_class).exclude(pk=world.team.pk).first()
    Membership.objects.filter(user=world.student).update(team=other)


def _class_archived(world, watching):
    SchoolClass.objects.update(archived_at=timezone.now())


@pytest.mark.parametrize(
    "happens", [_deactivated, _another_password, _signed_out, _session_over, _another_team, _class_archived]
)
def test_whoever_may_not_look_any_more_goes_the_long_way(world, watching, happens):
    assert watching.asks()
    happens(world, watching)
    assert not watching.asks()
    assert watching.get().status_code != 204


def test_the_session_has_lasted_as_long_as_it_may(world, watching, monkeypatch):
    later = timezone.now() + timedelta(seconds=settings.STUDENT_SESSION_S + 1)
    Session.objects.update(expire_date=later + timedelta(hours=9))
    assert watching.asks()
    monkeypatch.setattr(timezone, "now", lambda: later)
    assert not watching.asks()


def test_the_seal_is_of_one_session_person_team_and_page(world, watching):
    mate = Watching(world.student)  # the same person at another machine
    topic, user, of, ends_at, seal = watching.told.split(" ")
    other = Team.objects.filter(school_class=world.school_class).exclude(pk=world.team.pk).first()
    assert other is not None
    assert not watching.asks(key=mate.key)
    assert not watching.asks(told=mate.told)
    assert not watching.asks(path="/today/")
    assert not watching.asks(path="/nowhere/")
    for key in ("", watching.key[:-1], watching.key + "a", "\0" * 32, "é" * 32):
        assert not watching.asks(key=key)
    for altered in (
        (topic, str(world.far_student.pk), of, ends_at, seal),
        (topic, user, f"{other.pk}.{world.assignment.pk}", ends_at, seal),
        (topic, user, of, str(int(ends_at) + 1), seal),
        (topic, user, of, ends_at, seal[:-1] + ("0" if seal[-1] != "0" else "1")),
        ("parts2", user, of, ends_at, seal),
    ):
        assert not watching.asks(told=" ".join(altered))
    assert watching.asks()


def test_a_post_and_a_page_without_its_since_go_the_long_way(watching):
    assert watching.client.get(PARTS, headers={NEWS: watching.told}).status_code == 200
    assert watching.client.post(watching.address, headers={NEWS: watching.told}).status_code == 405


def test_a_host_that_is_not_ours_is_refused(watching, settings):
    settings.ALLOWED_HOSTS = ["school.example"]
    assert watching.get(Host="elsewhere.example").status_code == 400


def test_where_nobody_noted_when_a_session_began_nothing_is_sealed(world, submission):
    client = Client()
    client.force_login(world.student, backend=STUDENT_BACKEND)
    session = client.session
    del session["signed in at"]
    session.save()
    page = client.get(PARTS)
    assert page.status_code == 200
    assert not HEADERS.search(page.content.decode())


words = st.text(st.characters(codec="latin-1", exclude_characters="\r\n\0"), max_size=300)


@given(said=words)
def test_any_header_is_read(said):
    request = RequestFactory().get(PARTS, {"since": "x"})
    request.META["HTTP_MAKERLAB_NEWS"] = said
    request.COOKIES[settings.SESSION_COOKIE_NAME] = "k"
    assert answer(request) is None


@pytest.mark.parametrize(
    "said", ["parts 1 1.1 9999999999 x", "parts 1 1 9999999999 x", "parts ١ 1.1 1 x", "parts 1 . 1 x"]
)
def test_a_header_nobody_sealed_is_read(db, said):
    request = RequestFactory().get(PARTS, {"since": "x"})
    request.META["HTTP_MAKERLAB_NEWS"] = said
    request.COOKIES[settings.SESSION_COOKIE_NAME] = "k"
    assert answer(request) is None


def test_a_team_mates_page_is_drawn_once(world, submission, django_assert_max_num_queries):
    """What one has drawn the other gets: the same letters, nothing of a person in them, fewer questions."""
    mate_user = User.objects.create(school=world.school, role=world.student.role, display_name="Mate")
    Membership.objects.create(school_class=world.school_class, user=mate_user, team=world.team, nickname="Mate")
    first, second, spanish = Watching(world.student), Watching(mate_user), Watching(mate_user)
    Submission.objects.filter(pk=submission.pk).update(state=State.APPROVED)
    drawn = first.get().content
    assert answer(second.request()).content == drawn
    with django_assert_max_num_queries(5):
        got = second.get()
    assert got.content == drawn
    for header in ("X-Frame-Options", "Content-Security-Policy", "Content-Language", "Cache-Control"):
        assert got[header] == first.client.get(PARTS)[header], header
    assert b"csrf" not in drawn
    assert b"hx-swap-oob" in drawn
    spanish.client.cookies[settings.LANGUAGE_COOKIE_NAME] = "es"
    assert spanish.get().content != drawn


# ---- a report that is not there yet ------------------------------------------------------------------------------


@pytest.fixture
def in_line(world) -> list[Submission]:
    """Three files that wait, by number of the version; each check has taken 12 s."""
    began = timezone.now()
    Job.objects.create(
        kind="check-submission", lane="measure", subject="0", school=world.school, state="done",
        started_at=began, finished_at=began + timedelta(seconds=12),
    )  # fmt: skip
    files = [make_submission(world, version=number, check_state="checking") for number in (1, 2, 3)]
    for turn, file in enumerate(files):
        Job.objects.create(
            kind="check-submission", lane="measure", subject=str(file.pk), school=world.school, turn=turn
        )
    return files


def asked_again(text: str) -> str:
    """The address by which the page, or the part of it that came last, asks."""
    found = re.search(r'hx-get="([^"]+)" hx-trigger="every', text)
    assert found
    return found[1]


def test_the_place_in_line_is_told_without_the_page(world, in_line, django_assert_num_queries):
    client = Client()
    client.force_login(world.student, backend=STUDENT_BACKEND)
    page = client.get(reverse("submissions:submission-report", args=[in_line[2].pk])).content.decode()
    assert "2 other checks come first" in page
    headers = {"HX-Request": "true", **json.loads(HEADERS.findall(page)[0])}
    address = asked_again(page)
    with django_assert_num_queries(8):  # session, person, file, team, job, place, pace, those that run
        assert client.get(address, headers=headers).status_code == 204
    Job.objects.filter(subject=str(in_line[0].pk)).update(state=Job.State.FAILED)
    answered = client.get(address, headers=headers)
    live = answered.content.decode()
    assert "One other check comes first" in live
    assert asked_again(live) != address
    whole = client.get(address, headers={"HX-Request": "true"}).content.decode()
    assert live == whole
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = "es"
    assert "One other check" not in client.get(address, headers=headers).content.decode()


def test_the_report_itself_comes_from_the_page(world, in_line):
    client = Client()
    client.force_login(world.student, backend=STUDENT_BACKEND)
    address = reverse("submissions:submission-report", args=[in_line[0].pk])
    page = client.get(address).content.decode()
    headers = {"HX-Request": "true", **json.loads(HEADERS.findall(page)[0])}
    Submission.objects.filter(pk=in_line[0].pk).update(check_state="checked", verdict="ok")
    live = client.get(asked_again(page), headers=headers).content.decode()
    assert 'id="verdict"' in live
    Submission.objects.filter(pk=in_line[0].pk).update(check_state="checking", team=world.second_team)
    assert client.get(asked_again(page), headers=headers).status_code == 404


def test_a_teacher_who_looks_on_asks_the_page(world, in_line, signed_in):
    page = signed_in(world.teacher).get(reverse("submissions:submission-report", args=[in_line[2].pk]))
    assert "2 other checks come first" in page.content.decode()
    assert not HEADERS.findall(page.content.decode())
