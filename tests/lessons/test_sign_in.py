"""Students sign in with class code, nickname and picture PIN; wrong tries lock that student only."""

from datetime import timedelta

import pytest
from django.utils import timezone

from lessons.forms import PICTURE_WORDS
from lessons.signin import FREE_TRIES, PICTURES
from makerlab.accounts.models import User
from makerlab.audit.models import Event
from tests.world import PIN

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
    post(client, world.other_student.membership.school_class)
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
