"""Tokens: who makes them, what is kept, what they open, and when they stop."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from makerlab.accounts.people import NotPossible, give_password
from makerlab.api import actions
from makerlab.api.models import ApiToken
from makerlab.api.scopes import OF_ROLE, Scope
from makerlab.audit.models import Event
from tests.makerlab.api.calling import Caller, give_token, refused

pytestmark = pytest.mark.django_db
PAGE = "/tokens/"


def secret_on(page: str) -> str:
    return page.split('id="secret">')[1].split("<")[0]


def test_a_teacher_makes_one_on_the_page_and_uses_it(world, signed_in):
    client = signed_in(world.teacher)
    values = {"name": "grades script", "scopes": ["submissions:read", "plan:read"], "days": "30"}
    page = client.post(PAGE, values).content.decode()
    secret = secret_on(page)
    assert secret not in client.get(PAGE).content.decode(), "shown once"
    token = ApiToken.objects.get()
    assert secret not in repr(token.__dict__)
    assert token.scopes == ["submissions:read", "plan:read"]
    assert abs(token.expires_at - timezone.now() - timedelta(days=30)) < timedelta(hours=1)
    me = Caller(world.teacher, secret=secret).get("/me").json()
    assert (me["role"], me["school"], me["scopes"]) == ("teacher", "Alderwick School", token.scopes)
    assert list(Event.objects.filter(subject_kind="apitoken").values_list("verb", flat=True)) == ["make_token"]
    assert secret not in str(list(Event.objects.values()))


def test_every_secret_is_another(world):
    secrets = {actions.make_token(world.teacher, "x", ["lab:read"], 30)[1] for _ in range(10)}
    assert len(secrets) == 10
    assert {len(secret) for secret in secrets} == {47}


def test_students_have_none(world, signed_in):
    assert signed_in(world.student).get(PAGE).status_code == 404
    with pytest.raises(PermissionDenied):
        actions.make_token(world.student, "x", ["lab:read"], 30)


@pytest.mark.parametrize(
    ("who", "scopes", "days", "field"),
    [
        ("teacher", ["runs:write"], 30, "scopes"),  # the bench is not theirs
        ("technician", ["submissions:write"], 30, "scopes"),
        ("teacher", [], 30, "scopes"),
        ("teacher", ["everything"], 30, "scopes"),
        ("teacher", ["lab:read"], 3650, "days"),
    ],
)
def test_what_cannot_be_made(world, who, scopes, days, field):
    with pytest.raises(NotPossible) as told:
        actions.make_token(getattr(world, who), "x", scopes, days)
    assert told.value.field == field


def test_the_form_says_what_is_missing_and_offers_what_the_role_may(world, signed_in):
    client = signed_in(world.technician)
    page = client.post(PAGE, {"name": "bench script", "scopes": [], "days": "30"})
    assert page.status_code == 422
    assert 'value="bench script"' in page.content.decode(), "nothing typed is lost"
    offered = {scope.value for scope in Scope if f'value="{scope.value}"' in page.content.decode()}
    assert offered == {scope.value for scope in OF_ROLE["technician"]}


def test_revoked_it_opens_nothing(world, signed_in):
    caller = Caller(world.teacher)
    assert caller.get("/me").status_code == 200
    token = ApiToken.objects.get()
    assert signed_in(world.teacher).post(reverse("access:token-revoke", args=[token.pk])).status_code == 302
    refused(caller.get("/me"), 401, "no_token")
    with pytest.raises(NotPossible):
        actions.revoke_token(world.teacher, token)
    assert Event.objects.filter(verb="revoke_token", actor=world.teacher).count() == 1


def test_an_administrator_sees_and_revokes_all_of_the_school_and_no_other(world, signed_in):
    for owner in (world.teacher, world.technician, world.other_teacher):
        give_token(owner)
    client = signed_in(world.administrator)
    assert {token.owner for token in client.get(PAGE).context["tokens"]} == {world.teacher, world.technician}
    theirs = ApiToken.objects.get(owner=world.other_teacher)
    assert client.post(reverse("access:token-revoke", args=[theirs.pk])).status_code == 404
    ours = ApiToken.objects.get(owner=world.technician)
    client.post(reverse("access:token-revoke", args=[ours.pk]))
    refused(Caller(world.technician, secret=f"mkl_{world.technician.pk:043d}").get("/me"), 401, "no_token")
    assert signed_in(world.teacher).get(PAGE).context["tokens"] == [ApiToken.objects.get(owner=world.teacher)]
    assert signed_in(world.far_teacher).post(reverse("access:token-revoke", args=[ours.pk])).status_code == 404


def test_it_ends_with_its_time_and_with_its_owner(world):
    ended = give_token(world.far_teacher, expires_at=timezone.now() - timedelta(seconds=1))
    refused(Caller(world.far_teacher, secret=ended).get("/me"), 401, "no_token")
    caller = Caller(world.teacher)
    world.teacher.is_active = False
    world.teacher.save()
    refused(caller.get("/me"), 401, "no_token")


def test_who_has_to_sign_in_first_has_to_for_programs_too(world):
    """As on the pages: a new password on paper, and the second step a school asks of administrators."""
    caller = Caller(world.teacher)
    give_password(world.administrator, world.teacher)
    refused(caller.get("/me"), 403, "owner_must_sign_in")
    head = Caller(world.administrator)
    assert head.get("/me").status_code == 200
    world.school.second_step_required = True
    world.school.save()
    refused(head.get("/me"), 403, "owner_must_sign_in")


@pytest.mark.parametrize("sent", ["", "Bearer", "Bearer mkl_short", "Basic dXNlcjpwdw==", f"Bearer mkl_{'x' * 43}"])
def test_anything_else_is_no_token(world, client, sent):
    answer = client.get("/api/v1/me", headers={"Authorization": sent} if sent else {})
    refused(answer, 401, "no_token")
    assert answer["WWW-Authenticate"] == "Bearer"


def test_a_session_opens_nothing_here(world, signed_in):
    refused(signed_in(world.administrator).get("/api/v1/me"), 401, "no_token")


def test_only_so_many_requests_a_minute(world, settings):
    settings.API_REQUESTS_A_MINUTE = 3
    caller = Caller(world.teacher)
    assert [caller.get("/me").status_code for _ in range(3)] == [200] * 3
    answer = caller.get("/me")
    refused(answer, 429, "too_many")
    assert int(answer["Retry-After"]) > 0
    assert Caller(world.far_teacher).get("/me").status_code == 200, "another token is not held up"


def test_when_it_was_last_used(world):
    caller = Caller(world.teacher)
    assert ApiToken.objects.get().last_used_at is None
    caller.get("/me")
    first = ApiToken.objects.get().last_used_at
    assert first is not None
    caller.get("/me")
    assert ApiToken.objects.get().last_used_at == first, "noted every few minutes, not with each request"


def test_twenty_at_most(world):
    for _ in range(actions.TOKENS_MOST):
        actions.make_token(world.teacher, "x", ["lab:read"], 30)
    with pytest.raises(NotPossible):
        actions.make_token(world.teacher, "x", ["lab:read"], 30)
