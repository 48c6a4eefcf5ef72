"""Staff sign-in under guessing: one user name from one address is locked for a while, a school's address never."""

from __future__ import annotations

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.utils import timezone

from makerlab.accounts import limits
from makerlab.accounts.models import Tally
from tests.submissions.make import text_of
from tests.world import PASSWORD

pytestmark = pytest.mark.django_db
HOME, SCHOOL = "203.0.113.9", "198.51.100.7"  # documentation addresses, RFC 5737


def post(client, username="teacher", password="wrong", address=SCHOOL):
    return client.post("/sign-in/", {"username": username, "password": password}, REMOTE_ADDR=address)


def lock(client, settings, username="teacher", address=SCHOOL):
    """As many wrong tries as it takes."""
    return [post(client, username, address=address).status_code for _number in range(settings.AXES_FAILURE_LIMIT)]


def test_ten_wrong_passwords_lock_the_name_from_there_with_a_plain_page(world, client, settings):
    assert lock(client, settings) == [422] * 9 + [429]
    answer = post(client, password=PASSWORD)
    assert answer.status_code == 429
    assert "Wait a quarter of an hour" in text_of(answer)
    assert "_auth_user_id" not in client.session


def test_neither_the_school_nor_the_name_elsewhere_is_locked(world, client, settings):
    lock(client, settings)
    assert post(client, "technician", PASSWORD).status_code == 302
    client.logout()
    assert post(client, "teacher", PASSWORD, HOME).status_code == 302


def test_another_spelling_of_the_name_is_the_same_lock(world, client, settings):
    lock(client, settings, "TeaCher")
    assert post(client, " teacher", PASSWORD).status_code == 429


def test_an_unknown_name_locks_like_a_known_one(world, client, settings):
    assert lock(client, settings, "nobody") == lock(client, settings, "teacher")


def test_the_lock_ends_by_itself_and_leaves_nothing(world, client, settings):
    lock(client, settings)
    AccessAttempt.objects.update(attempt_time=timezone.now() - settings.AXES_COOLOFF_TIME - timedelta(seconds=1))
    assert post(client, password=PASSWORD).status_code == 302
    assert not AccessAttempt.objects.exists()  # network addresses are not kept


def test_a_right_password_starts_the_count_anew(world, client, settings):
    for _round in range(2):
        for _number in range(settings.AXES_FAILURE_LIMIT - 1):
            assert post(client).status_code == 422
        assert post(client, password=PASSWORD).status_code == 302
        client.logout()


def test_no_password_is_kept_of_a_wrong_try(world, client):
    post(client, password="my cat's name")
    kept = AccessAttempt.objects.values().get()
    assert "cat" not in str(kept)


def test_students_pictures_never_reach_the_staffs_lock(world, client):
    values = {"class_code": world.school_class.code, "nickname": "Pip"}
    values |= {f"picture{place}": "tray" for place in range(1, 5)}
    assert client.post("/sign-in/student/", values).status_code == 422
    assert not AccessAttempt.objects.exists()


def test_very_many_names_from_one_address_meet_the_ceiling(world, client, monkeypatch):
    monkeypatch.setattr(limits, "ADDRESS_CEILINGS", ((3, 600),))
    assert [post(client, f"name{number}").status_code for number in range(4)] == [422, 422, 422, 429]
    assert post(client, "teacher", PASSWORD).status_code == 429
    assert post(client, "teacher", PASSWORD, HOME).status_code == 302
    Tally.objects.update(ends_at=timezone.now() - timedelta(seconds=1))
    client.logout()
    assert post(client, "teacher", PASSWORD).status_code == 302
    assert HOME not in str(list(Tally.objects.values()))


def test_twenty_at_once_are_counted_as_twenty(world, at_once):
    results = at_once(*[lambda: limits.note("try", "x", 60)] * 20)
    assert sorted(results) == list(range(1, 21))
    assert at_once(lambda: limits.count("try", "x", 60), lambda: limits.count("try", "y", 60)) == [20, 0]


def test_a_count_can_be_forgotten(db):
    limits.note("try", "x", 60)
    limits.forget("try", "x", 60)
    assert limits.count("try", "x", 60) == 0
