"""The second step of signing in: the standard's codes, enrolling, signing in, losing the phone, the school's rule."""

from __future__ import annotations

import base64
import hmac
import re

import pyotp
import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.urls import reverse
from django.utils import timezone

from makerlab.accounts import second_step
from makerlab.accounts.doctor import second_steps
from makerlab.accounts.models import RecoveryCode, SecondStep, User
from makerlab.accounts.sealed import PURPOSE
from makerlab.audit.models import Event
from makerlab.health.doctor import Level
from tests.submissions.make import text_of
from tests.world import PASSWORD

pytestmark = pytest.mark.django_db
# RFC 6238, appendix B, SHA-1 rows: seconds since 1970 and the code of 8 digits; ours are its last 6
RFC_SECRET = base64.b32encode(b"12345678901234567890").decode()
RFC_ROWS = [
    (59, "94287082"), (1111111109, "07081804"), (1111111111, "14050471"), (1234567890, "89005924"),
    (2000000000, "69279037"), (20000000000, "65353130"),
]  # fmt: skip


def enrolled(user: User, secret: str | None = None) -> SecondStep:
    return SecondStep.objects.create(user=user, secret=secret or pyotp.random_base32(), confirmed_at=timezone.now())


def code_of(step: SecondStep, off: int = 0) -> str:
    return pyotp.TOTP(step.secret).generate_otp(int(timezone.now().timestamp()) // second_step.STEP_S + off)


def password(client, username="administrator"):
    return client.post("/sign-in/", {"username": username, "password": PASSWORD, "next": "/people/"})


def enter(client, code):
    return client.post(reverse("accounts:sign-in-code"), {"code": code})


def is_in(client) -> bool:
    return "_auth_user_id" in client.session


@pytest.mark.parametrize(("at", "eight"), RFC_ROWS)
def test_codes_are_those_of_the_standard(world, monkeypatch, at, eight):
    enrolled(world.administrator, RFC_SECRET)
    moment = timezone.datetime.fromtimestamp(at, timezone.get_default_timezone())
    monkeypatch.setattr(second_step.timezone, "now", lambda: moment)
    assert not second_step._takes(world.administrator, eight[:6])
    assert second_step._takes(world.administrator, eight[2:])


def test_the_right_password_alone_opens_nothing(world, client):
    step = enrolled(world.administrator)
    assert password(client)["Location"] == reverse("accounts:sign-in-code")
    assert not is_in(client)
    assert client.get("/people/")["Location"].startswith("/sign-in/")
    before = client.session.session_key
    assert enter(client, "000000").status_code in {422}
    assert not is_in(client)
    assert enter(client, code_of(step))["Location"] == "/people/"
    assert is_in(client)
    assert client.session.session_key != before
    assert Event.objects.get(verb="signed-in").facts == {"second_step": True}


def test_a_code_opens_once(world, client):
    step = enrolled(world.administrator)
    code = code_of(step)
    password(client)
    assert enter(client, code).status_code == 302
    client.logout()
    password(client)
    assert enter(client, code).status_code == 422


def test_of_twenty_who_send_the_same_code_one_gets_in(world, at_once):
    step = enrolled(world.administrator)
    code = code_of(step)
    won = at_once(*[lambda: second_step._takes(world.administrator, code)] * 20)
    assert sum(won) == 1


@pytest.mark.parametrize("code", ["", "12345", "abcdef", "१२३४५६", "0000000", "' or 1=1"])
def test_what_is_no_code_is_refused(world, code):
    enrolled(world.administrator)
    assert not second_step.check(world.administrator, code)


def test_an_older_code_than_the_neighbours_is_refused(world):
    step = enrolled(world.administrator)
    assert not second_step.check(world.administrator, code_of(step, -2))
    assert not second_step.check(world.administrator, code_of(step, 2))
    assert second_step.check(world.administrator, code_of(step, -1))


def test_ten_wrong_codes_end_the_try_even_for_the_right_one(world, client):
    step = enrolled(world.administrator)
    password(client)
    for _number in range(second_step.WRONG_MAX):
        assert enter(client, "000000").status_code == 422
    answer = client.post(reverse("accounts:sign-in-code"), {"code": code_of(step)}, follow=True)
    assert "Too many wrong codes" in text_of(answer)
    assert not is_in(client)


def test_the_right_password_is_remembered_for_minutes_only(world, client, settings):
    step = enrolled(world.administrator)
    password(client)
    settings.SECOND_STEP_S = -1
    assert enter(client, code_of(step))["Location"] == reverse("accounts:sign-in")


def test_locked_out_or_given_a_new_password_between_the_steps_is_out(world, client):
    step = enrolled(world.administrator)
    password(client)
    world.administrator.end_sessions()
    assert enter(client, code_of(step))["Location"] == reverse("accounts:sign-in")
    assert not is_in(client)


def test_turning_it_on_shows_a_code_to_scan_and_recovery_codes_once(world, signed_in):
    client = signed_in(world.teacher)
    page = client.get(reverse("accounts:second-step"))
    assert "<svg" in page.content.decode()
    step = SecondStep.objects.get(user=world.teacher)
    assert step.secret in text_of(page)
    assert second_step.address(step).startswith("otpauth://totp/Makerlab:teacher")
    assert not second_step.has_second_step(world.teacher)
    right = {"code": code_of(step), "password": PASSWORD}
    for wrong in ({"code": "000000"}, {"password": "guessed"}, {"password": ""}):
        assert client.post(reverse("accounts:second-step"), {**right, **wrong}).status_code == 422
    assert not second_step.has_second_step(world.teacher)
    elsewhere = signed_in(world.teacher)
    answer = client.post(reverse("accounts:second-step"), right)
    assert "sign-in" in elsewhere.get(reverse("printing:today"))["Location"]
    assert client.get(reverse("printing:today")).status_code == 200
    codes = re.findall(r"told-once\">([a-z2-9-]{19})<", text_of(answer))
    assert len(set(codes)) == second_step.RECOVERY_CODES
    again = client.get(reverse("accounts:second-step"))
    assert step.secret not in text_of(again)
    assert codes[0] not in text_of(again)
    assert codes[0] not in str(list(RecoveryCode.objects.values()))
    assert codes[0] not in str(list(Event.objects.values()))


def test_a_recovery_code_opens_once_and_new_ones_end_the_old(world, client):
    enrolled(world.administrator)
    old = second_step.renew_recovery_codes(world.administrator)
    password(client)
    assert enter(client, old[0].upper()).status_code == 302
    client.logout()
    password(client)
    assert enter(client, old[0]).status_code == 422
    second_step.renew_recovery_codes(world.administrator)
    assert enter(client, old[1]).status_code == 422
    assert not second_step.check(world.teacher, old[2])


def test_turning_off_wants_a_code(world, signed_in):
    client, step = signed_in(world.teacher), enrolled(world.teacher)
    assert client.post(reverse("accounts:second-step-off"), {"code": "000000"}).status_code == 422
    assert second_step.has_second_step(world.teacher)
    assert client.post(reverse("accounts:second-step-off"), {"code": code_of(step)}).status_code == 200
    assert not second_step.has_second_step(world.teacher)


def test_a_school_that_wants_it_lets_no_administrator_past_without(world, signed_in):
    client = signed_in(world.administrator)
    require = reverse("accounts:second-step-require")
    answer = client.post(require, {"required": "yes"}, follow=True)
    assert "Turn on your own second step first" in text_of(answer)
    step = enrolled(world.administrator)
    client.post(require, {"required": "yes"})
    world.school.refresh_from_db()
    assert world.school.second_step_required
    other = signed_in(User.objects.create_staff(world.school, "deputy", "administrator", PASSWORD, "deputy"))
    for name in ("printing:today", "accounts:people", "home"):
        assert other.get(reverse(name))["Location"] == reverse("accounts:second-step")
    assert other.post(reverse("accounts:people"), {"username": "x"})["Location"] == reverse("accounts:second-step")
    assert "Your school wants this" in text_of(other.get(reverse("accounts:second-step")))
    assert signed_in(world.teacher).get(reverse("printing:today")).status_code == 200
    answer = client.post(reverse("accounts:second-step-off"), {"code": code_of(step)})
    assert answer.status_code == 422
    assert second_step.has_second_step(world.administrator)


def test_an_administrator_helps_who_lost_the_phone(world, signed_in, client):
    enrolled(world.teacher)
    theirs = signed_in(world.teacher)
    administrator = signed_in(world.administrator)
    administrator.post(reverse("accounts:person-forget", args=[world.teacher.pk]))
    assert "sign-in" in theirs.get(reverse("printing:today"))["Location"]
    assert password(client, "teacher")["Location"] == "/people/"
    assert Event.objects.filter(verb="second-step-forgotten").count() == 1


def column_of(step: SecondStep) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT secret FROM accounts_secondstep WHERE id = %s", [step.pk])
        return cursor.fetchone()[0]


def test_the_database_holds_the_key_encrypted(world):
    step = enrolled(world.administrator, RFC_SECRET)
    assert RFC_SECRET not in column_of(step)
    assert RFC_SECRET not in base64.urlsafe_b64decode(column_of(step)).decode("latin-1")
    assert SecondStep.objects.get(pk=step.pk).secret == RFC_SECRET
    before = column_of(step)
    SecondStep.objects.get(pk=step.pk).save()
    assert column_of(step) != before, "sealed anew, never twice alike"
    assert SecondStep.objects.get(pk=step.pk).secret == RFC_SECRET


def test_the_column_is_opened_by_what_the_standards_say(world, settings):
    """By hand with hmac: HKDF-SHA-256 (RFC 5869, one block, salt of zeros), then the signature of a Fernet token."""
    step = enrolled(world.administrator, RFC_SECRET)
    derived = hmac.digest(hmac.digest(bytes(32), settings.SECRET_KEY.encode(), "sha256"), PURPOSE + b"\x01", "sha256")
    token = base64.urlsafe_b64decode(column_of(step))
    assert token[0] == 0x80
    assert hmac.digest(derived[:16], token[:-32], "sha256") == token[-32:]


def test_under_another_secret_key_no_code_opens_and_the_old_key_as_a_fallback_does(world, settings):
    step = enrolled(world.administrator)
    old = settings.SECRET_KEY
    settings.SECRET_KEY = "another key of fifty signs and more, made when it was restored"
    assert not second_step.check(world.administrator, code_of(step))
    assert [found.level for found in second_steps()] == [Level.WRONG]
    assert second_step.begin(world.administrator).secret == "", "what is in force is not made anew by opening the page"
    settings.SECRET_KEY_FALLBACKS = [old]
    assert second_step.check(world.administrator, code_of(step))
    assert list(second_steps()) == []


def test_who_has_the_server_forgets_a_second_step_nobody_can_open(world, client, signed_in):
    enrolled(world.administrator)
    theirs = signed_in(world.administrator)
    call_command("forget_second_step", "ADMINISTRATOR")
    assert "sign-in" in theirs.get(reverse("printing:today"))["Location"]
    assert password(client)["Location"] == "/people/"
    assert Event.objects.get(verb="second-step-forgotten").facts == {"by": "server"}
    with pytest.raises(CommandError, match="nobody of that user name"):
        call_command("forget_second_step", "nobody")


@pytest.mark.django_db(transaction=True)
def test_an_upgrade_seals_what_was_plain(world):
    step = enrolled(world.administrator, RFC_SECRET)
    newest = MigrationExecutor(connection).loader.graph.leaf_nodes()
    try:
        MigrationExecutor(connection).migrate([("accounts", "0004_passwords_on_paper")])
        assert column_of(step) == RFC_SECRET
    finally:
        MigrationExecutor(connection).migrate(newest)
    assert RFC_SECRET not in column_of(step)
    assert SecondStep.objects.get(pk=step.pk).secret == RFC_SECRET


@pytest.mark.parametrize("who", ["student", "far_student"])
def test_students_have_none(world, signed_in, who):
    assert signed_in(getattr(world, who)).get(reverse("accounts:second-step")).status_code == 404


def test_sign_out_everywhere_ends_the_sessions_on_other_machines(world, signed_in):
    here, there = signed_in(world.teacher), signed_in(world.teacher)
    assert there.get(reverse("printing:today")).status_code == 200
    assert here.post(reverse("accounts:sign-out-everywhere")).status_code == 302
    for client in (here, there):
        assert "sign-in" in client.get(reverse("printing:today"))["Location"]
    assert Session.objects.count() <= 2
