"""The district's page: who gets in, what it counts and what it never names, its two verbs, the command, the records."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

import pyotp
import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lessons.stored import stored_by
from makerlab.accounts import second_step, single_sign_on
from makerlab.accounts.models import Role, School, SecondStep, ServiceAccount, User
from makerlab.accounts.people import NotPossible, give_password, set_active
from makerlab.audit.models import Event
from makerlab.district.actions import new_school, set_store
from makerlab.district.counts import counts_of
from makerlab.keeping.names import PLAIN, PREFIX, STAMP
from makerlab.uploads import MEGABYTE
from makerlab.work.models import Job
from tests.makerlab.site_addresses import MARK, other_side
from tests.submissions.make import make_submission, text_of
from tests.world import PASSWORD, World, make_class, make_student

pytestmark = pytest.mark.django_db
LIST = "/district/"
NEW = "/district/schools/new/"
VALUES = {"name": "Tallow Creek School", "time_zone": "America/Denver", "username": "ida", "display_name": "Ida Ferns"}
QUERIES_MOST = 8
LATE = '#s-late"'


def store_page(school: School) -> str:
    return reverse("district:school-store", args=[school.pk])


def with_step(person: User) -> User:
    SecondStep.objects.create(user=person, secret=pyotp.random_base32(), confirmed_at=timezone.now())
    return person


@pytest.fixture
def head(world: World) -> User:
    """Our school's administrator runs the district."""
    User.objects.filter(pk=world.administrator.pk).update(runs_district=True)
    world.administrator.refresh_from_db()
    return with_step(world.administrator)


@pytest.fixture
def desk(head: User, signed_in) -> Client:
    return signed_in(head)


def command(*arguments: str) -> str:
    out = StringIO()
    call_command("district", *arguments, stdout=out)
    return out.getvalue()


# who gets in


def test_the_page_is_there_for_who_runs_the_district_and_for_nobody_else(world, head, signed_in):
    people = world.people()
    assert people.pop("administrator").pk == head.pk
    people["second_administrator"] = with_step(
        User.objects.create_staff(world.school, "deputy", Role.ADMINISTRATOR, PASSWORD, "deputy")
    )
    people["other_administrator"] = with_step(
        User.objects.create_staff(world.other_school, "other_head", Role.ADMINISTRATOR, PASSWORD, "other head")
    )
    for name, person in people.items():
        client = signed_in(person)
        for path in (LIST, NEW, store_page(world.school)):
            assert client.get(path).status_code == 404, (name, path)
        for path, values in ((NEW, {**VALUES, "step": "make"}), (store_page(world.school), {"store_max_mb": 5})):
            assert client.post(path, values).status_code == 404, (name, path)
        assert LIST not in client.get("/", follow=True).text, name
        with pytest.raises(PermissionDenied):
            new_school(person, *VALUES.values())
        with pytest.raises(PermissionDenied):
            set_store(person, world.school, 5)
    client = signed_in(head)
    assert all(client.get(path).status_code == 200 for path in (LIST, NEW, store_page(world.other_school)))
    assert f'href="{LIST}"' in client.get("/", follow=True).text
    assert School.objects.count() == 2
    assert not School.objects.exclude(store_max_mb=None).exists()


def test_nobody_is_let_in_without_a_sign_in(client, db):
    for path in (LIST, NEW, "/district/schools/1/store/"):
        assert client.get(path)["Location"].startswith("/sign-in/")
        assert client.post(path, VALUES)["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("role", [Role.TEACHER, Role.TECHNICIAN, Role.STUDENT])
def test_the_field_opens_nothing_for_another_role(world, signed_in, role):
    """No way of ours makes such a row; if one came to be, it would open nothing."""
    person = with_step(getattr(world, role))
    User.objects.filter(pk=person.pk).update(runs_district=True)
    assert signed_in(person).get(LIST).status_code == 404
    person.refresh_from_db()
    with pytest.raises(PermissionDenied):
        set_store(person, world.school, 5)


def test_locked_out_or_taken_away_ends_it_at_once(world, head, desk):
    assert desk.get(LIST).status_code == 200
    command("--take", head.username)
    assert desk.get(LIST).status_code == 404
    command("--give", head.username)
    assert desk.get(LIST).status_code == 200
    User.objects.filter(pk=head.pk).update(is_active=False)
    assert desk.get(LIST)["Location"].startswith("/sign-in/")
    head.refresh_from_db()
    with pytest.raises(PermissionDenied):
        set_store(head, world.school, 5)


def test_without_the_second_step_the_page_says_so_and_does_nothing(world, head, desk):
    SecondStep.objects.filter(user=head).update(confirmed_at=None)
    for path in (LIST, NEW, store_page(world.other_school)):
        answer = desk.get(path)
        assert answer.status_code == 200
        assert "wants a second step" in text_of(answer)
        assert f'href="{reverse("accounts:second-step")}"' in answer.text
        assert world.other_school.name not in answer.text
    desk.post(NEW, {**VALUES, "step": "make"})
    desk.post(store_page(world.other_school), {"store_max_mb": 5})
    with pytest.raises(NotPossible, match="second step"):
        new_school(head, *VALUES.values())
    assert School.objects.filter(store_max_mb=None).count() == School.objects.count() == 2


def test_another_administrator_of_the_school_cannot_take_the_place_of_who_runs_the_district(
    world, head, signed_in, settings
):
    """With a new password, without the second step or through the sign-in service they could sign in as that person."""
    deputy = User.objects.create_staff(world.school, "deputy", Role.ADMINISTRATOR, PASSWORD, "deputy")
    client, before = signed_in(deputy), User.objects.get(pk=head.pk).password
    settings.SINGLE_SIGN_ON = True
    for name, values in (
        ("accounts:person-password", {}),
        ("accounts:person-forget", {}),
        ("accounts:person-connect", {"known_as": "deputy@district.example"}),
    ):
        answer = client.post(reverse(name, args=[head.pk]), values, follow=True)
        assert "runs the district" in text_of(answer), name
        assert "told-once" not in answer.text, name
    for verb in (
        lambda: give_password(deputy, head),
        lambda: second_step.forget_for(deputy, head),
        lambda: single_sign_on.connect(deputy, head, "deputy@district.example"),
        lambda: set_active(deputy, head, True),
    ):
        with pytest.raises(NotPossible, match="runs the district"):
            verb()
    assert User.objects.get(pk=head.pk).password == before
    assert second_step.has_second_step(head)
    assert not ServiceAccount.objects.exists()
    page = text_of(client.get(reverse("accounts:people")))
    assert reverse("accounts:person-password", args=[head.pk]) not in page
    assert reverse("accounts:person-password", args=[deputy.pk]) in page
    set_active(deputy, head, False)  # locking out takes nothing over
    assert not User.objects.get(pk=head.pk).is_active


def test_whoever_has_the_server_gives_them_a_new_password(world, head, client):
    out = StringIO()
    call_command("new_password", head.username.upper(), stdout=out)
    password = re.search(r"^  (\S+)$", out.getvalue(), re.MULTILINE)[1]
    answer = client.post("/sign-in/", {"username": head.username, "password": password})
    assert answer["Location"] == reverse("accounts:sign-in-code")  # and the second step still stands
    event = Event.objects.get(verb="give_password", subject_id=str(head.pk))
    assert (event.school_id, event.actor, event.facts) == (world.school.pk, None, {"by": "server"})
    with pytest.raises(CommandError, match="nobody of that user name"):
        call_command("new_password", "nobody-here")


# what it counts


def with_file(submission, size: int, name: str | None = None):
    """A stored file of that many bytes, or one that is stored already."""
    if name is None:
        submission.file.save("", ContentFile(b"x"))
    else:
        submission.file.name = name
    submission.file_bytes = size
    submission.save()
    return submission


def test_figures_are_those_of_the_rows(world, head, desk):
    there = other_side(world)
    Job.objects.all().delete()
    ours = counts_of(School.objects.filter(pk=world.school.pk))[0]
    assert (ours.classes, ours.staff, ours.students, ours.jobs_waiting) == (2, 4, 2, 0)
    assert (ours.stored_bytes, ours.oldest_waits_since) == (stored_by(world.school.pk), None)

    gone = make_class(there.school, "Old", there.teacher)
    gone.archived_at = timezone.now()
    gone.save()
    leaver = make_student(there.school_class, there.team, "Left")
    User.objects.filter(pk=leaver.pk).update(is_active=False)
    before = counts_of(School.objects.filter(pk=there.school.pk))[0]
    first = with_file(make_submission(there, team=there.team, version=5), 3 * MEGABYTE)
    with_file(make_submission(there, team=there.second_team, version=5), 3 * MEGABYTE, first.file.name)  # the same file
    with_file(make_submission(there, team=there.team, version=6), 2 * MEGABYTE)
    with_file(there.wheel, MEGABYTE)
    now = timezone.now()
    for number, state in enumerate(("waiting", "waiting", "running", "done", "failed")):
        lease = now if state == "running" else None
        job = Job.objects.create(kind="k", lane="measure", subject=str(number), school=there.school, state=state,
                                 lease_until=lease)  # fmt: skip
        Job.objects.filter(pk=job.pk).update(created_at=now - timedelta(minutes=10 * (5 - number)))

    after = counts_of(School.objects.filter(pk=there.school.pk))[0]
    assert (after.classes, after.staff, after.students) == (2, 3, 2)  # not the archived class, not who left
    assert after.stored_bytes - before.stored_bytes == 6 * MEGABYTE
    assert after.stored_bytes == stored_by(there.school.pk)
    assert (after.jobs_waiting, now - after.oldest_waits_since) == (2, timedelta(minutes=50))
    assert counts_of(School.objects.filter(pk=world.school.pk))[0] == ours
    row = row_of(desk, there.school)
    assert row[2:5] == ["2", "3", "2"]
    assert row[5].startswith("6.0 MB of 20,480 MB")
    assert row[6] == "2 the oldest for 50 min"


def row_of(desk: Client, school: School) -> list[str]:
    """The cells of a school's row, without tags and in plain spaces."""
    for row in re.findall(r"<tr\b.*?</tr>", desk.get(LIST).text, re.DOTALL):
        cells = [
            " ".join(unescape(re.sub(r"<[^>]*>", " ", cell)).split())
            for cell in re.findall(r"<t[hd]\b[^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        ]
        if cells and cells[0].startswith(school.name):
            return cells
    raise LookupError(school.name)


def test_the_row_tells_name_zone_day_and_a_limit_of_its_own(world, head, desk):
    made = datetime(2026, 2, 3, 18, tzinfo=UTC)
    School.objects.filter(pk=world.other_school.pk).update(time_zone="America/Phoenix", created_at=made)
    row = row_of(desk, world.other_school)
    assert row[:5] == ["Quillmere School America/Phoenix", "3 Feb 2026", "1", "2", "1"]
    assert row[5:] == ["0 MB of 20,480 MB Quillmere School", "0"]
    set_store(head, world.other_school, 1500)
    assert "of 1,500 MB" in row_of(desk, world.other_school)[5]
    assert "a limit of its own" in row_of(desk, world.other_school)[5]
    with_file(make_submission(other_side(world), version=5), 1400 * MEGABYTE)
    assert "nearly full" in row_of(desk, world.other_school)[5]


def test_no_name_of_a_person_class_team_or_file_stands_there(world, head, desk):
    there = other_side(world)
    make_class(world.school, "Zylander 9", world.teacher).teams.update(name="Zebrawood crew")
    make_student(world.school_class, world.team, "Zebedee")
    make_submission(world, team=world.second_team, file_name="zigzag-wheel.stl")
    Event.objects.all().delete()
    for path in (LIST, NEW, store_page(there.school), store_page(world.school)):
        text = desk.get(path).text
        assert (there.school.name in text) is (path not in {NEW, store_page(world.school)})
        assert MARK not in text.replace(there.school.name, "")
        assert not re.search(r"\bz(ylander|ebrawood|ebedee|igzag)", text, re.IGNORECASE), path
    assert "Counts only." in desk.get(LIST).text


def test_a_hundred_schools_take_as_many_questions_as_two(world, head, desk):
    def questions(path: str) -> int:
        desk.get(path)
        with CaptureQueriesContext(connection) as captured:
            assert desk.get(path).status_code == 200
        return len(captured)

    pages = (LIST, NEW, store_page(world.other_school))
    few = [questions(path) for path in pages]
    School.objects.bulk_create(School(name=f"School {number:03}") for number in range(98))
    for school in School.objects.all():
        Job.objects.create(kind="k", lane="measure", subject="1", school=school)
    assert [questions(path) for path in pages] == few
    assert max(few) <= QUERIES_MOST
    assert desk.get(LIST).text.count('<th scope="row"') == 100


def test_it_says_what_it_knows_of_backups(head, desk, settings, tmp_path):
    settings.BACKUPS = None
    assert "No folder for daily backups is set" in text_of(desk.get(LIST))
    settings.BACKUPS = tmp_path / "not there"
    assert "No backup is seen from here" in text_of(desk.get(LIST))
    settings.BACKUPS = tmp_path
    old, fresh = timezone.now() - timedelta(hours=40), timezone.now() - timedelta(hours=2)
    (tmp_path / f"{PREFIX}{old:{STAMP}}{PLAIN}").touch()
    assert LATE in desk.get(LIST).text
    (tmp_path / f"{PREFIX}{fresh:{STAMP}}{PLAIN}").touch()
    told = text_of(desk.get(LIST)).split("One backup holds all schools.")[1]
    assert LATE not in told
    assert f"{fresh.astimezone(ZoneInfo('America/Chicago')):%H:%M}" in told  # in the reader's own school's time


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
