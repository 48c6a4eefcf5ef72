"""The district's page: who gets in, what it counts and what it never names."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.db import connection
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
from tests.makerlab.district import (
    LATE,
    LIST,
    NEW,
    QUERIES_MOST,
    VALUES,
    command,
    row_of,
    store_page,
    with_file,
    with_step,
)
from tests.makerlab.site_addresses import MARK, other_side
from tests.submissions.make import make_submission, text_of
from tests.world import PASSWORD, make_class, make_student

pytestmark = pytest.mark.django_db


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
