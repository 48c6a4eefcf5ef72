"""Sessions are written once, never over another's, and never lost."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.sessions.backends.base import CreateError, UpdateError
from django.contrib.sessions.models import Session
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from makerlab.accounts.sessions import SessionStore
from tests.world import PIN, make_world

pytestmark = pytest.mark.django_db


def writes_of(queries: CaptureQueriesContext) -> list[str]:
    return [each["sql"].split()[0] for each in queries if each["sql"].startswith(("INSERT", "UPDATE", "DELETE"))]


def test_a_new_session_is_written_with_its_first_save_and_not_again_until_something_changes():
    store = SessionStore()
    with CaptureQueriesContext(connection) as asked:
        store.cycle_key()
        store["who"] = 1
        store.save()
        store.save()
    assert writes_of(asked) == ["INSERT"]
    assert SessionStore(store.session_key).load() == {"who": 1}
    store["who"] = 2
    store.set_expiry(60)
    store.save()
    assert SessionStore(store.session_key)["who"] == 2
    left = Session.objects.get().expire_date - timezone.now()
    assert timedelta(seconds=50) < left <= timedelta(seconds=60)


def test_it_never_writes_over_the_row_of_another(monkeypatch):
    other = SessionStore()
    other["who"] = "other"
    other.save()
    mine = SessionStore()
    monkeypatch.setattr(mine, "_get_new_session_key", lambda: other.session_key)
    mine["who"] = "me"
    with pytest.raises(CreateError):
        mine.save()
    assert SessionStore(other.session_key)["who"] == "other"


def test_a_session_that_was_ended_meanwhile_is_not_brought_back():
    store = SessionStore()
    store["who"] = 1
    store.save()
    late = SessionStore(store.session_key)
    late["who"] = 2
    Session.objects.all().delete()
    with pytest.raises(UpdateError):
        late.save()
    assert not Session.objects.exists()


def test_a_new_key_keeps_what_was_held_and_ends_the_old_one():
    store = SessionStore()
    store["language"] = "es"
    store.save()
    old = store.session_key
    store.cycle_key()
    store.save()
    assert list(Session.objects.values_list("session_key", flat=True)) == [store.session_key]
    assert store.session_key != old
    assert SessionStore(store.session_key)["language"] == "es"


def test_a_student_signs_in_with_three_writes_of_one_transaction(client):
    world = make_world()
    values = {f"picture{at}": picture for at, picture in enumerate(PIN.split(","), start=1)}
    member = world.student.memberships.get()
    values |= {"class_code": member.school_class.code, "nickname": member.nickname}
    with CaptureQueriesContext(connection) as asked:
        answer = client.post(reverse("lessons:student-sign-in"), values)
    assert answer.status_code == 302
    assert writes_of(asked) == ["UPDATE", "INSERT", "INSERT"]  # last sign-in, record, session
    kept = Session.objects.get(session_key=client.session.session_key)
    assert kept.get_decoded()["_auth_user_id"] == str(world.student.pk)
