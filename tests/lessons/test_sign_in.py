"""Students sign in with class code, nickname and picture PIN; wrong tries lock that student only."""

from datetime import timedelta

import pytest
from django.contrib.auth import hashers
from django.contrib.sessions.models import Session
from django.utils import timezone

from lessons.actions.classes import set_joining
from lessons.actions.students import renew_pins
from lessons.classes.members import members_of, pins_seen
from lessons.forms import PICTURE_WORDS
from lessons.signin import FREE_TRIES, PICTURES, PIN_ROUNDS, set_pin
from makerlab.accounts import limits
from makerlab.accounts.limits import ADDRESS_CEILINGS
from makerlab.accounts.models import User
from makerlab.audit.models import Event
from tests.submissions.make import text_of
from tests.world import PIN, make_student

pytestmark = pytest.mark.django_db
URL = "/sign-in/student/"
WRONG = "tray,tray,tray,tray"


def post(client, school_class, nickname: str = "Pip", pin: str = PIN, **values: str):
    pictures = {f"picture{place}": name for place, name in enumerate(pin.split(","), start=1)}
    return client.post(URL, {"class_code": school_class.code, "nickname": nickname, **pictures, **values})


def is_signed_in(client) -> bool:
    return "_auth_user_id" in client.session


def test_every_picture_has_a_word_and_a_symbol(client, settings):
    sprite = (settings.BASE_DIR / "makerlab/static/makerlab/icons.svg").read_text()
    assert list(PICTURE_WORDS) == list(PICTURES)
    assert len({str(word) for word in PICTURE_WORDS.values()}) == len(PICTURES)
    assert all(f'id="{name}"' in sprite for name in PICTURES)


def test_form_works_without_script(client):
    page = client.get(URL).content.decode()
    for place in range(1, 5):
        assert page.count(f'name="picture{place}"') == len(PICTURES)
    assert page.count("<fieldset") == 5  # four of radios, and the pad that script shows in their place
    assert "data-pin-pad hidden" in page


def test_a_pin_is_kept_by_the_slow_hash_of_passwords_repeated_less_often(world, client, settings):
    """And one that was set when it was repeated more often still opens."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    set_pin(world.student, PIN)
    world.student.refresh_from_db()
    assert hashers.identify_hasher(world.student.pin).decode(world.student.pin)["iterations"] == PIN_ROUNDS
    for kept in (world.student.pin, hashers.make_password(PIN)):
        User.objects.filter(pk=world.student.pk).update(pin=kept)
        client.logout()
        assert post(client, world.school_class, pin=WRONG).status_code == 422
        assert not is_signed_in(client)
        assert post(client, world.school_class).status_code == 302
        assert is_signed_in(client)


@pytest.mark.parametrize(
    ("nickname", "spoil_code"),
    [("Pip", str), ("pip", str.lower), (" PIP ", str.upper)],
    ids=["as is", "lower", "upper"],
)
def test_student_signs_in(world, client, nickname, spoil_code):
    world.school_class.code = spoil_code(world.school_class.code)
    response = post(client, world.school_class, nickname)
    assert (response.status_code, response["Location"]) == (302, "/")
    assert client.session["_auth_user_id"] == str(world.student.pk)
    event = Event.objects.get()
    assert (event.verb, event.actor_id, event.facts) == ("signed-in", world.student.pk, {})


def test_the_same_nickname_in_another_class_is_somebody_else(world, client):
    """Pip of our school and Pip of the other school: the class code decides."""
    post(client, world.other_student.memberships.get().school_class)
    assert client.session["_auth_user_id"] == str(world.other_student.pk)
    assert world.other_student.pk != world.student.pk


@pytest.mark.parametrize(
    ("nickname", "pin"),
    [("Pip", WRONG), ("Pip", "clock,cart,flag,ruler"), ("Nobody", PIN), ("Ash", PIN)],
    ids=["wrong pictures", "wrong order", "unknown nickname", "student of another class"],
)
def test_wrong_sign_in_says_one_thing_for_all_and_keeps_no_picture(world, client, nickname, pin):
    response = post(client, world.school_class, nickname, pin)
    page = response.content.decode()
    assert response.status_code == 422
    assert "The class code, the nickname or the pictures are not right." in page
    assert f'value="{nickname}"' in page
    assert "checked" not in page
    assert not is_signed_in(client)


@pytest.mark.parametrize("missing", ["picture3", "nickname", "class_code"])
def test_something_missing_is_told_in_place_and_counts_no_try(world, client, missing):
    response = post(client, world.school_class, **{missing: ""})
    assert response.status_code == 422
    assert 'class="error"' in response.content.decode()
    world.student.refresh_from_db()
    assert world.student.pin_failures == 0


def test_a_picture_that_is_none_of_ours_is_refused(world, client):
    assert post(client, world.school_class, picture1="<script>").status_code == 422
    assert not is_signed_in(client)


def test_five_wrong_tries_lock_that_student_only(world, client):
    for _ in range(FREE_TRIES):
        assert post(client, world.school_class, pin=WRONG).status_code == 422
    response = post(client, world.school_class)  # the right pictures now
    page = response.content.decode()
    assert response.status_code == 422
    assert "Too many wrong tries" in page
    assert "30\u00a0s" in page or "29\u00a0s" in page
    assert not is_signed_in(client)
    # a school is one network address: the others go on working
    assert post(client, world.far_class, "Ash").status_code == 302


def test_the_lock_grows_and_is_told_in_minutes(world, client):
    until = timezone.now() + timedelta(seconds=200)
    User.objects.filter(pk=world.student.pk).update(pin_failures=8, pin_locked_until=until)
    assert "4\u00a0min" in post(client, world.school_class).content.decode()  # 3 min 20 s, never told too short


def test_after_the_lock_the_right_pictures_open_and_the_count_starts_anew(world, client):
    past = timezone.now() - timedelta(seconds=1)
    User.objects.filter(pk=world.student.pk).update(pin_failures=6, pin_locked_until=past)
    assert post(client, world.school_class).status_code == 302
    world.student.refresh_from_db()
    assert (world.student.pin_failures, world.student.pin_locked_until) == (0, None)


def test_student_without_pictures_or_not_active_cannot_sign_in(world, client):
    User.objects.filter(pk=world.student.pk).update(pin="")
    assert post(client, world.school_class).status_code == 422
    User.objects.filter(pk=world.far_student.pk).update(is_active=False)
    assert post(client, world.far_class, "Ash").status_code == 422


def test_next_stays_here_and_class_code_can_come_with_the_link(world, client):
    assert f'value="{world.school_class.code}"' in client.get(URL, {"class": world.school_class.code}).content.decode()
    assert post(client, world.school_class, next="//elsewhere.example/")["Location"] == "/"


def test_the_teacher_is_told_who_is_locked_out_and_nobody_else_is(world, client, signed_in):
    for _ in range(FREE_TRIES):
        post(client, world.school_class, pin=WRONG)
    event = Event.objects.get(verb="lock_student")
    assert (event.actor, event.subject_id, event.facts["tries"]) == (None, str(world.student.pk), FREE_TRIES)
    today = "/today/"
    assert "Locked out after wrong pictures" in text_of(signed_in(world.teacher).get(today))
    assert "Pip (7B)" in text_of(signed_in(world.teacher).get(today))
    assert "Locked out" not in text_of(signed_in(world.far_teacher).get(today))
    assert "Locked out" not in text_of(signed_in(world.other_teacher).get(today))
    page = signed_in(world.teacher).get(f"/classes/{world.school_class.pk}/")
    assert "locked until" in text_of(page)
    User.objects.filter(pk=world.student.pk).update(pin_locked_until=timezone.now() - timedelta(seconds=1))
    assert "Locked out" not in text_of(signed_in(world.teacher).get(today))


def test_pictures_are_kept_as_a_slow_salted_hash_only(world, settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    set_pin(world.student, PIN)
    set_pin(world.far_student, PIN)
    kept = [User.objects.get(pk=person.pk).pin for person in (world.student, world.far_student)]
    assert all(pin.startswith("pbkdf2_sha256$") and "cart" not in pin for pin in kept)
    assert kept[0] != kept[1]


def test_a_students_session_is_short_and_ends_by_the_servers_clock(world, client, settings):
    post(client, world.school_class)
    assert client.session.get_expiry_age() == settings.STUDENT_SESSION_S == 2 * 3600
    assert client.cookies[settings.SESSION_COOKIE_NAME]["max-age"] == 2 * 3600
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    assert "/sign-in/" in client.get("/parts/")["Location"]


def test_new_pictures_end_the_sessions_under_the_old_ones(world, client):
    post(client, world.school_class)
    assert client.get("/parts/").status_code == 200
    seen = pins_seen(members_of(world.school_class))
    renew_pins(world.teacher, world.school_class, {world.student.memberships.get().pk}, seen)
    assert "/sign-in/" in client.get("/parts/")["Location"]


def test_a_closed_class_lets_only_those_in_who_were_there(world, client):
    User.objects.filter(pk=world.student.pk).update(last_login=timezone.now())
    set_joining(world.teacher, world.school_class, False)
    make_student(world.school_class, world.team, "Newt")
    assert "takes nobody new" in text_of(post(client, world.school_class, "Newt"))
    assert not is_signed_in(client)
    assert post(client, world.school_class).status_code == 302
    client.logout()
    set_joining(world.teacher, world.school_class, True)
    assert post(client, world.school_class, "Newt").status_code == 302


def test_a_class_of_thirty_who_all_err_until_locked_does_not_meet_the_ceiling():
    """A school is one address, and the whole class may be new."""
    assert all(most > 30 * FREE_TRIES for most, _within in ADDRESS_CEILINGS)


def test_very_many_wrong_pictures_from_one_address_close_signing_in_there(world, client, monkeypatch):
    monkeypatch.setattr(limits, "ADDRESS_CEILINGS", ((3, 600),))
    told = [post(client, world.school_class, f"N{number}", WRONG).status_code for number in range(4)]
    assert told == [422, 422, 422, 429]
    answer = post(client, world.school_class)
    assert answer.status_code == 429
    assert "Tell your teacher" in text_of(answer)
    pictures = {f"picture{place}": name for place, name in enumerate(PIN.split(","), start=1)}
    values = {"class_code": world.school_class.code, "nickname": "Pip", **pictures}
    assert client.post(URL, values, REMOTE_ADDR="203.0.113.9").status_code == 302
