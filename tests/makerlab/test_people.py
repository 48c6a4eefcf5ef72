"""An administrator and the staff of the school; everybody's own password."""

from __future__ import annotations

import re

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from makerlab.accounts.models import User
from makerlab.accounts.people import NotPossible, add_person, give_password, new_password, set_active, staff_of
from makerlab.audit.models import Event
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db


def test_a_new_person_signs_in_with_the_password_shown_once(world, client, signed_in):
    administrator = signed_in(world.administrator)
    values = {"display_name": "Ms Quill", "username": "quill", "role": "teacher"}
    answer = administrator.post(reverse("accounts:people"), values)
    text = text_of(answer)
    found = re.search(r"told-once\">([a-z2-9-]{19})<", text)
    assert found
    assert found[1] not in text_of(administrator.get(reverse("accounts:people")))
    assert "no-store" in answer["Cache-Control"]
    assert client.login(username="QUILL", password=found[1])
    assert User.objects.get(username="quill").school == world.school
    assert not Event.objects.filter(facts__icontains=found[1]).exists()


def test_what_cannot_be_is_told_on_the_form(world, signed_in):
    administrator = signed_in(world.administrator)
    for values, told in (
        ({"username": world.teacher.username.upper()}, "taken"),
        ({"username": "two words"}, "without spaces"),
        ({"role": "student"}, "Select a valid choice"),
    ):
        answer = administrator.post(
            reverse("accounts:people"), {"display_name": "Ada", "username": "ada", "role": "teacher", **values}
        )
        assert answer.status_code == 422
        assert told in text_of(answer)
    assert not User.objects.filter(display_name="Ada").exists()


def test_a_new_password_ends_old_sessions_and_locking_out_ends_all(world, signed_in, client):
    teacher = signed_in(world.teacher)
    password = give_password(world.administrator, User.objects.get(pk=world.teacher.pk))
    assert teacher.get(reverse("home")).status_code == 302
    assert "sign-in" in teacher.get(reverse("printing:today")).url
    assert client.login(username=world.teacher.username, password=password)
    set_active(world.administrator, world.teacher, False)
    assert "sign-in" in client.get(reverse("printing:today")).url
    assert not client.login(username=world.teacher.username, password=password)
    set_active(world.administrator, world.teacher, True)
    assert client.login(username=world.teacher.username, password=password)


def test_nobody_locks_themselves_out(world):
    with pytest.raises(NotPossible, match="yourself"):
        set_active(world.administrator, world.administrator, False)


@pytest.mark.parametrize("who", ["student", "teacher", "technician", "other_teacher"])
def test_only_administrators_of_the_school(world, who, signed_in):
    person = getattr(world, who)
    for verb in (
        lambda: add_person(person, "x1", "X", "teacher"),
        lambda: give_password(person, world.technician),
        lambda: set_active(person, world.technician, False),
    ):
        with pytest.raises(PermissionDenied):
            verb()
    assert not staff_of(person).exists()
    assert signed_in(person).get(reverse("accounts:people")).status_code == 404
    assert signed_in(person).post(reverse("accounts:person-password", args=[world.technician.pk])).status_code == 404


def test_students_are_not_given_passwords(world):
    with pytest.raises(PermissionDenied):
        give_password(world.administrator, world.student)


def test_passwords_do_not_repeat_and_hold_no_lookalikes():
    made = {new_password() for _ in range(500)}
    assert len(made) == 500
    assert not set("il1o0") & set("".join(made))


def test_ones_own_password(world, signed_in, client):
    User.objects.get(pk=world.teacher.pk)
    password = give_password(world.administrator, world.teacher)
    client.login(username=world.teacher.username, password=password)
    page = reverse("accounts:own-password")
    short = client.post(page, {"old_password": password, "new_password1": "short", "new_password2": "short"})
    assert short.status_code == 422
    fresh = "heron ladder seventeen moss"
    changed = client.post(page, {"old_password": password, "new_password1": fresh, "new_password2": fresh})
    assert changed.status_code == 302
    assert client.get(reverse("printing:today")).status_code == 200  # this session stays
    client.logout()
    assert client.login(username=world.teacher.username, password=fresh)
    assert signed_in(world.student).get(page).status_code == 404


def test_a_password_on_paper_is_changed_before_anything_else_opens(world, client):
    password = give_password(world.administrator, world.teacher)
    client.post("/sign-in/", {"username": "teacher", "password": password})
    for name in ("printing:today", "home", "lessons:class-list"):
        assert client.get(reverse(name))["Location"] == reverse("accounts:own-password")
    page = reverse("accounts:own-password")
    assert "was on paper" in text_of(client.get(page))
    fresh = "heron ladder seventeen moss"
    client.post(page, {"old_password": password, "new_password1": fresh, "new_password2": fresh})
    assert client.get(reverse("printing:today")).status_code == 200


def test_a_password_on_paper_opens_nothing_after_its_days(world, client, settings):
    password = give_password(world.administrator, world.teacher)
    settings.GIVEN_PASSWORD_DAYS = -1
    assert client.post("/sign-in/", {"username": "teacher", "password": password}).status_code == 422
