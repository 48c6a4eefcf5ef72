"""The two verbs of the district's page, the records of them, and the command that gives it."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from django.core.management import CommandError
from django.urls import reverse

from makerlab.accounts.models import Role, School, User
from makerlab.accounts.people import NotPossible
from makerlab.audit.models import Event
from makerlab.district.actions import new_school, set_store
from makerlab.uploads import MEGABYTE
from tests.makerlab.district import (
    LIST,
    NEW,
    VALUES,
    command,
    store_page,
    with_file,
    with_step,
)
from tests.makerlab.site_addresses import other_side
from tests.submissions.make import make_submission, text_of
from tests.world import PASSWORD

pytestmark = pytest.mark.django_db


# making a school


def test_a_school_is_made_after_being_asked_and_its_administrator_signs_in(world, head, desk, client):
    sure = desk.post(NEW, VALUES)
    assert "Nothing is made yet" in text_of(sure)
    assert not School.objects.filter(name=VALUES["name"]).exists()
    again = desk.post(NEW, {**VALUES, "step": "change"})
    assert again.status_code == 200
    assert 'value="Tallow Creek School"' in again.text
    assert not School.objects.filter(name=VALUES["name"]).exists()

    made = desk.post(NEW, {**hidden_of(sure.text), "step": "make"})
    password = re.search(r'told-once">([a-z2-9-]{19})<', made.text)[1]
    assert "no-store" in made["Cache-Control"]
    school = School.objects.get(name="Tallow Creek School")
    ida = User.objects.get(username="ida")
    assert (school.time_zone, ida.school, ida.role, ida.display_name, ida.runs_district) == (
        "America/Denver", school, Role.ADMINISTRATOR, "Ida Ferns", False,
    )  # fmt: skip
    assert password not in desk.get(LIST).text
    assert not Event.objects.filter(facts__icontains=password).exists()
    client.post("/sign-in/", {"username": "ida", "password": password})
    assert client.get("/", follow=True).request["PATH_INFO"] == reverse("accounts:own-password")
    client.post(reverse("accounts:own-password"), {
        "old_password": password, "new_password1": "heron ladder seventeen moss",
        "new_password2": "heron ladder seventeen moss",
    })  # fmt: skip
    assert client.get(LIST).status_code == 404  # the first administrator of a school is that school's
    reloaded = desk.post(NEW, {**VALUES, "step": "make"})
    assert reloaded.status_code == 422
    assert "told-once" not in reloaded.text
    assert School.objects.count() == 3


def hidden_of(html: str) -> dict[str, str]:
    """What the question to be sure sends along."""
    found = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', html)
    return {name: unescape(value) for name, value in found if name != "csrfmiddlewaretoken"}


@pytest.mark.parametrize("step", ["", "make"])
@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"name": "Quillmere School"}, "There is a school of that name already."),
        ({"name": "  quillmere   SCHOOL "}, "There is a school of that name already."),
        ({"name": "  "}, "required"),
        ({"name": "x" * 121}, "at most 120"),
        ({"time_zone": "America/Nowhere"}, "America/Nowhere is not a time zone"),
        ({"time_zone": ""}, "required"),
        ({"username": "TEACHER"}, "That user name is taken."),
        ({"username": "two words"}, "without spaces"),
        ({"username": ""}, "required"),
        ({"display_name": ""}, "required"),
    ],
)
def test_what_cannot_be_is_told_on_the_form_and_loses_nothing(world, desk, step, changes, told):
    answer = desk.post(NEW, {**VALUES, **changes, "step": step})
    assert answer.status_code == 422
    assert told in text_of(answer)
    kept = VALUES | changes
    assert all(f'value="{kept[name]}"' in answer.text for name in kept.keys() - changes.keys())
    assert School.objects.count() == 2
    assert not Event.objects.filter(verb="new_school").exists()


def test_of_two_who_make_the_same_school_one_makes_it(world, head, at_once):
    def make(username: str) -> Any:
        return lambda: new_school(head, "Tallow Creek School", "America/Denver", username, "Somebody")

    results = at_once(make("ida"), make("bea"))
    refused = [result for result in results if isinstance(result, Exception)]
    assert [str(error) for error in refused] == ["There is a school of that name already."]
    assert isinstance(refused[0], NotPossible)
    (made,) = [result for result in results if not isinstance(result, Exception)]
    schools, people, events = at_once(
        lambda: School.objects.filter(name="Tallow Creek School").count(),
        lambda: list(User.objects.filter(username__in=["ida", "bea"])),
        lambda: Event.objects.filter(verb="new_school").count(),
    )
    assert (schools, people, events) == (1, [made[1]], 1)


def test_who_is_a_moment_late_is_told_so_and_nothing_is_half_made(world, head, monkeypatch):
    """Both looked before either wrote: the database's own rule decides."""
    from makerlab.accounts import people

    look, looked = people.check_new_school, []

    def look_then_another_writes(name: str, time_zone: str, username: str) -> School:
        school = look(name, time_zone, username)
        if not looked:
            looked.append(username)
            School.objects.bulk_create([School(name=name)])
        return school

    monkeypatch.setattr(people, "check_new_school", look_then_another_writes)
    with pytest.raises(NotPossible, match="of that name already") as told:
        new_school(head, *VALUES.values())
    assert told.value.field == "name"
    assert not User.objects.filter(username="ida").exists()


# a school's store


def test_a_limit_is_set_and_taken_away_again(world, head, desk):
    page = store_page(world.other_school)
    assert desk.post(page, {"store_max_mb": "5000"})["Location"] == LIST
    world.other_school.refresh_from_db()
    assert world.other_school.store_max_mb == 5000
    assert 'value="5000"' in desk.get(page).text
    desk.post(page, {"store_max_mb": "5000"})  # as it is: nothing to record
    desk.post(page, {"store_max_mb": ""})
    world.other_school.refresh_from_db()
    assert world.other_school.store_max_mb is None
    events = Event.objects.filter(verb="store_max_mb").order_by("pk")
    assert [(event.school_id, event.actor_id, event.facts) for event in events] == [
        (world.other_school.pk, head.pk, {"before": None, "after": 5000}),
        (world.other_school.pk, head.pk, {"before": 5000, "after": None}),
    ]


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ("-1", "greater than or equal to 1"),
        ("0", "greater than or equal to 1"),
        ("2000001", "less than or equal to 2000000"),
        ("much", "whole number"),
        ("2", "3 MB are stored there already, and 2 MB would be allowed. Nothing was changed."),
    ],
)
def test_a_limit_that_cannot_be_is_told(world, desk, value, told):
    with_file(make_submission(other_side(world), version=5), 2 * MEGABYTE + 1)
    answer = desk.post(store_page(world.other_school), {"store_max_mb": value})
    assert answer.status_code == 422
    assert told in text_of(answer)
    assert f'value="{value}"' in answer.text
    world.other_school.refresh_from_db()
    assert world.other_school.store_max_mb is None
    assert not Event.objects.filter(verb="store_max_mb").exists()


def test_the_limit_of_all_schools_is_refused_too_where_more_is_stored(world, head, settings):
    with_file(make_submission(other_side(world), version=5), 30 * MEGABYTE - 20_000)  # and a small one is there
    set_store(head, world.other_school, 50)
    settings.SCHOOL_MAX_BYTES = 20 * MEGABYTE
    with pytest.raises(NotPossible, match="30 MB are stored there already, and 20 MB would be allowed"):
        set_store(head, world.other_school, None)
    assert School.objects.get(pk=world.other_school.pk).store_max_mb == 50


def test_a_school_that_is_not_there(desk):
    assert desk.get("/district/schools/987654321/store/").status_code == 404
    assert desk.post("/district/schools/987654321/store/", {"store_max_mb": "5"}).status_code == 404


def test_of_two_who_set_a_limit_both_stand_in_the_records_in_order(world, head, at_once):
    at_once(lambda: set_store(head, world.other_school, 100), lambda: set_store(head, world.other_school, 200))
    events, limit = at_once(
        lambda: list(Event.objects.filter(verb="store_max_mb").order_by("pk")),
        lambda: School.objects.get(pk=world.other_school.pk).store_max_mb,
    )
    first, second = (event.facts for event in events)
    assert first["before"] is None
    assert (second["before"], second["after"]) == (first["after"], limit)


# the records


def test_the_schools_own_administrator_reads_what_the_district_did(world, head, desk, signed_in):
    desk.post(NEW, {**VALUES, "step": "make"})
    desk.post(store_page(School.objects.get(name=VALUES["name"])), {"store_max_mb": "900"})
    ida = User.objects.get(username="ida")
    User.objects.filter(pk=ida.pk).update(password_given_at=None)
    records = text_of(signed_in(ida).get(reverse("privacy:records")))
    for words in ("Set the school up", "Changed how large the school"):
        assert words in records
    assert records.count("for the district") == 2
    assert head.display_name in records
    ours = text_of(desk.get(reverse("privacy:records")))
    assert "Set the school up" not in ours
    assert "for the district" not in ours


# the command


def test_the_command_gives_lists_and_takes(world, signed_in):
    assert command() == "Nobody runs the district.\n"
    told = command("--give", "ADMINISTRATOR")
    assert "administrator of Alderwick School runs the district" in told
    assert "second step" in told
    assert command() == "administrator, Alderwick School, no second step\n"
    with_step(world.administrator)
    assert command() == "administrator, Alderwick School\n"
    assert signed_in(world.administrator).get(LIST).status_code == 200
    User.objects.filter(pk=world.administrator.pk).update(is_active=False)
    assert command() == "administrator, Alderwick School, locked out\n"
    assert "no longer runs the district" in command("--take", "administrator")  # also of who is locked out
    assert command() == "Nobody runs the district.\n"
    events = Event.objects.filter(subject_kind="user", verb__endswith="_district").order_by("pk")
    assert [(event.verb, event.school_id, event.subject_id, event.actor, event.facts) for event in events] == [
        (verb, world.school.pk, str(world.administrator.pk), None, {"by": "server"})
        for verb in ("give_district", "take_district")
    ]


def test_the_command_refuses_with_a_reason(world):
    deputy = User.objects.create_staff(world.school, "deputy", Role.ADMINISTRATOR, PASSWORD, "Deputy")
    User.objects.filter(pk=deputy.pk).update(is_active=False)
    fresh = User.objects.create_staff(world.school, "fresh", Role.ADMINISTRATOR, PASSWORD, "Fresh")
    User.objects.note_given_password(fresh)
    for arguments, why in (
        (("--give", "nobody-here"), "nobody of the user name 'nobody-here'"),
        (("--give", ""), "nobody of the user name ''"),
        (("--give", "teacher"), "teacher is no administrator"),
        (("--give", "technician"), "technician is no administrator"),
        (("--give", "deputy"), "Deputy is locked out"),
        (("--give", "fresh"), "Fresh's password is still on paper"),
        (("--take", "administrator"), "That is so already"),
        (("--give", "administrator", "--take", "administrator"), "not allowed with"),
    ):
        with pytest.raises(CommandError, match=re.escape(why)):
            command(*arguments)
    assert not User.objects.filter(runs_district=True).exists()
    assert not Event.objects.filter(verb__endswith="_district").exists()
    command("--give", "administrator")
    with pytest.raises(CommandError, match="That is so already"):
        command("--give", "administrator")


def test_nothing_in_the_browser_gives_it(world, signed_in):
    """A field no form shows is not taken, whoever sends it."""
    extra = {"runs_district": "on", "display_name": "Ada", "username": "ada", "role": "administrator"}
    client = signed_in(world.administrator)
    client.post(reverse("accounts:people"), extra)
    client.post(reverse("accounts:own-password"), extra)
    assert User.objects.filter(username="ada").exists()
    assert not User.objects.filter(runs_district=True).exists()
