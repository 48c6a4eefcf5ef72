"""Deletion that leaves nothing, the export of one student, how long classes stay, and the records of who did what.

Nothing left is shown by reading: every row of every table and every file of the store are searched.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import uuid
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.core.exceptions import PermissionDenied
from django.core.management import call_command
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from lessons.models import Argument, Coasting, LabBoard, Mark, Membership, Reading, SchoolClass, Team
from makerlab.accounts.models import User
from makerlab.api.actions import make_token
from makerlab.api.models import KeptAnswer
from makerlab.audit.models import Event, record
from makerlab.privacy import erasing, retention
from makerlab.privacy.retention import SLEEPING, due_dates, forget_what_is_due
from makerlab.work.models import Job
from makerlab.work.registry import DAILY
from printing import actions as bench
from printing.models import Plate, PrintCopy, PrintRequest, Run
from submissions.actions import upload_part
from submissions.models import Review, Submission
from tests.conftest import ROOT
from tests.makerlab.site_addresses import give_something_to_show
from tests.printing.helpers import make_plate, ordered, started
from tests.submissions.make import stl_upload, text_of
from tests.world import World, make_student

pytestmark = pytest.mark.django_db
NAME = "Zebulonia"


def left_of(text: str, settings) -> list[str]:
    """Where the text still stands: rows of every table of the database, and stored files by name or content."""
    found = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            rows = (f'"{table}" {row!r}' for row in cursor.fetchall())
            found += [row[:200] for row in rows if text.casefold() in row.casefold()]
    for path in Path(settings.MEDIA_ROOT).rglob("*"):
        if path.is_file() and text.encode() in path.name.encode() + path.read_bytes():
            found.append(str(path))
    return found


def files(settings) -> int:
    return sum(path.is_file() for path in Path(settings.MEDIA_ROOT).rglob("*"))


@pytest.fixture
def busy(world: World, client, settings) -> World:
    """A student with a telling name whose class has done all there is to do: the name stands wherever it can."""
    person = make_student(world.school_class, world.team, NAME)
    client.force_login(person)
    sent = upload_part(person, world.assignment, world.wheel, stl_upload(name=f"{NAME}s-wheel.stl"))
    Submission.objects.filter(pk=sent.pk).update(
        report={"file": f"{NAME}s-wheel.stl", "findings": []},
        hand_in_note=f"{NAME} says it fits",
        check_state="checked",
    )
    sent.refresh_from_db()
    give_something_to_show(sent)
    Review.objects.create(submission=sent, reviewer=world.teacher, decision="returned", note=f"{NAME}, look at the hub")
    request = ordered(world, world.team, file_name=f"by {NAME}.stl")
    run = started(world, make_plate(world, request))
    bench.finish_run(run, world.technician)
    Run.objects.update(note=f"{NAME}'s wheel came loose")
    common = {"assignment": world.assignment, "team": world.team}
    now = timezone.now()
    Reading.objects.create(
        **common, entry=uuid.uuid4(), design="own wheel", changed=100, trial=1, measured=2, note=f"{NAME} slipped",
        entered_by=person, measured_at=now,
    )  # fmt: skip
    Coasting.objects.create(**common, design=f"{NAME} wheel", length_m=2, time_s=6, entered_by=person)
    Argument.objects.create(**common, claim=f"{NAME} was right", evidence="e", reasoning=NAME, saved_by=person)
    Mark.objects.create(
        **common, row=0, row_name="claim", level=2, comment=f"well seen, {NAME}", marked_by=world.teacher
    )
    LabBoard.objects.update_or_create(assignment=world.assignment, defaults={"notes": f"ask {NAME}"})
    Team.objects.filter(pk=world.team.pk).update(name=f"{NAME} & co")
    record(world.school.pk, world.teacher, "odd", person, said=f"about {NAME}")
    token, _secret = make_token(world.teacher, "of a script", ["submissions:read"], 30)
    KeptAnswer.objects.create(token=token, key="1", status=201, body=json.dumps({"file_name": f"{NAME}s-wheel.stl"}))
    return world


def of_name() -> User:
    return User.objects.get(display_name=NAME)


def test_the_search_finds_the_name_where_it_stands(busy, settings):
    """The proof below is worth something only if the search finds what is there."""
    found = " ".join(left_of(NAME, settings))
    for table in (
        "accounts_user", "lessons_membership", "lessons_team", "submissions_submission", "submissions_review",
        "printing_run", "lessons_reading", "lessons_coasting", "lessons_argument", "lessons_mark", "lessons_labboard",
        "audit_event", "api_keptanswer",
    ):  # fmt: skip
        assert f'"{table}"' in found, table


def test_a_deleted_class_leaves_nothing(busy, settings, django_capture_on_commit_callbacks):
    kept = (SchoolClass.objects.count(), User.objects.exclude(role="student").count())
    person = of_name()
    with django_capture_on_commit_callbacks(execute=True):
        erasing.erase_class(busy.administrator, busy.school_class)
    assert left_of(NAME, settings) == []
    for model in (Submission, Review, PrintRequest, PrintCopy, Reading, Coasting, Argument, Mark, LabBoard):
        assert not model.objects.exists(), model
    assert not Job.objects.filter(kind="check-submission").exists()
    assert not Session.objects.exists()
    assert files(settings) == 0
    assert not User.objects.filter(pk=person.pk).exists()
    assert SchoolClass.objects.count() == kept[0] - 1
    assert User.objects.exclude(role="student").count() == kept[1]
    event = Event.objects.get(verb="erase_class")
    assert (event.actor, event.facts["students"]) == (busy.administrator, 2)
    assert Run.objects.count() == 1  # a figure of the printer


def test_a_deleted_student_leaves_no_name_and_the_team_keeps_its_work(
    busy, settings, django_capture_on_commit_callbacks
):
    person = of_name()
    work = Submission.objects.count(), Reading.objects.count(), PrintRequest.objects.count()
    with django_capture_on_commit_callbacks(execute=True):
        erasing.erase_student(busy.teacher, person)
    assert left_of(NAME, settings) == []
    assert (Submission.objects.count(), Reading.objects.count(), PrintRequest.objects.count()) == work
    assert Reading.objects.get().entered_by is None
    assert "a student was right" in Argument.objects.get().claim
    assert not Session.objects.exists()
    assert User.objects.filter(pk=busy.student.pk).exists()  # Pip of the same team


def test_the_last_of_a_team_takes_its_work_along(busy, settings, django_capture_on_commit_callbacks):
    Membership.objects.filter(user=busy.student).update(team=None)
    with django_capture_on_commit_callbacks(execute=True):
        erasing.erase_student(busy.administrator, of_name())
    assert left_of(NAME, settings) == []
    assert not Submission.objects.exists()
    assert files(settings) == 0


def test_a_name_inside_another_word_is_left_alone(busy):
    Membership.objects.filter(user=of_name()).update(nickname="Ash")
    Argument.objects.update(claim="Ash's wheel does not crash, ash said; ashes")
    erasing.take_out("Ash", busy.school_class)
    assert Argument.objects.get().claim == "a student wheel does not crash, a student said; ashes"


def test_what_prints_now_is_told_and_nothing_is_deleted(busy, signed_in):
    started(busy, make_plate(busy, number=2), busy.printers[1])
    before = Submission.objects.count()
    client = signed_in(busy.administrator)
    answer = client.post(reverse("privacy:class-erase", args=[busy.school_class.pk]), {"name": "7B"}, follow=True)
    assert "is printing now" in text_of(answer)
    assert SchoolClass.objects.filter(pk=busy.school_class.pk).exists()
    assert Submission.objects.count() == before


@pytest.mark.parametrize("who", ["student", "far_teacher", "technician", "other_teacher"])
def test_who_may_not_delete(world, who):
    actor = getattr(world, who)
    with pytest.raises(PermissionDenied):
        erasing.erase_student(actor, world.far_student if who == "student" else world.student)
    with pytest.raises(PermissionDenied):
        erasing.erase_class(actor, world.school_class)
    with pytest.raises(PermissionDenied):
        erasing.erase_student(world.administrator, world.teacher)


def test_deleting_wants_the_name_typed(world, signed_in):
    client = signed_in(world.teacher)
    path = reverse("privacy:student-erase", args=[world.student.memberships.get().pk])
    assert "nothing was deleted" in text_of(client.post(path, {"name": "pip"}, follow=True))
    assert User.objects.filter(pk=world.student.pk).exists()
    client.post(path, {"name": "Pip"})
    assert not User.objects.filter(pk=world.student.pk).exists()


# --- how long --------------------------------------------------------------------------------------------------------


def test_an_archived_class_goes_when_its_days_are_over_and_not_before(busy, settings):
    now = timezone.now()
    SchoolClass.objects.filter(pk=busy.school_class.pk).update(archived_at=now - timedelta(days=59))
    assert forget_what_is_due(now) == (0, 0)
    assert forget_what_is_due(now + timedelta(days=1, seconds=1)) == (1, 0)
    assert left_of(NAME, settings) == []
    assert Event.objects.get(verb="erase_class").actor is None


def test_classes_that_go_together_leave_no_session_and_read_all_of_them_once(world, client, monkeypatch):
    for person in (world.student, world.far_student):
        client.force_login(person)
        client.cookies.clear()
    client.force_login(world.technician)
    now = timezone.now()
    SchoolClass.objects.filter(school=world.school).update(archived_at=now - timedelta(days=61))
    reads = []
    real = retention.end_sessions
    monkeypatch.setattr(retention, "end_sessions", lambda people: (reads.append(sorted(people)), real(people)))
    assert forget_what_is_due(now)[0] == 2
    assert len(reads) == 1
    assert {world.student.pk, world.far_student.pk} <= set(reads[0])
    assert [row.get_decoded()["_auth_user_id"] for row in Session.objects.all()] == [str(world.technician.pk)]


def test_sessions_that_have_run_out_go_with_the_next_run(world, client, monkeypatch):
    monkeypatch.setattr(retention, "SESSIONS_AT_ONCE", 2)
    for person in (world.student, world.far_student, world.teacher, world.technician):
        client.force_login(person)
        client.cookies.clear()
    kept = Session.objects.order_by("pk")[0].pk
    Session.objects.exclude(pk=kept).update(expire_date=timezone.now() - timedelta(seconds=1))
    assert retention.forget_old_sessions in DAILY
    assert retention.forget_old_sessions() == 3
    assert [row.pk for row in Session.objects.all()] == [kept]


def test_a_class_nobody_archives_goes_too(world):
    due = {row.school_class.pk: row for row in due_dates(world.school)}
    row = due[world.far_class.pk]
    assert not row.archived
    assert row.at - SLEEPING - timedelta(days=60) == SchoolClass.objects.get(pk=world.far_class.pk).created_at
    assert due[world.school_class.pk].at > row.at  # a meeting to come counts as well
    assert forget_what_is_due(row.at)[0] >= 1
    assert not SchoolClass.objects.filter(pk=world.far_class.pk).exists()


def test_students_of_no_class_go_with_the_next_run(world, signed_in):
    signed_in(world.teacher).post(reverse("lessons:student-remove", args=[world.student.memberships.get().pk]))
    assert User.objects.filter(pk=world.student.pk).exists()
    call_command("forget")
    assert not User.objects.filter(pk=world.student.pk).exists()


def test_the_administrator_sets_the_days(world, signed_in):
    client = signed_in(world.administrator)
    page = reverse("privacy:keeping")
    assert client.post(page, {"keep_days": 0}).status_code == 422
    assert client.post(page, {"keep_days": 30}).status_code == 302
    world.school.refresh_from_db()
    assert world.school.keep_days == 30
    assert Event.objects.get(verb="keep_days").facts == {"before": 60, "after": 30}


# --- handing over, and the records -----------------------------------------------------------------------------------


def test_the_export_holds_everything_of_one_student_and_nobody_elses_name(busy, signed_in):
    make_student(busy.school_class, busy.second_team, "Quentin")
    member = of_name().memberships.get()
    answer = signed_in(busy.teacher).post(reverse("privacy:student-export", args=[member.pk]))
    assert answer["Content-Disposition"].startswith("attachment")
    with zipfile.ZipFile(io.BytesIO(b"".join(answer))) as archive:
        assert archive.testzip() is None
        facts = json.loads(archive.read("student.json"))
        stored = [name for name in archive.namelist() if name.startswith("files/")]
        everything = b"".join(archive.read(name) for name in archive.namelist())
    assert facts["student"]["nickname"] == NAME
    assert len(facts["parts"]) == Submission.objects.filter(team=busy.team).count()
    assert len(stored) == len(facts["parts"])
    assert [row["by_this_student"] for row in facts["readings"]] == [True]
    for said in ("was right", "well seen", "slipped", "look at the hub"):
        assert said.encode() in everything
    assert b"Quentin" not in everything
    assert b"pbkdf2" not in everything
    assert Event.objects.filter(verb="export_student", actor=busy.teacher).count() == 1


def test_looking_at_a_student_is_on_record_once_a_day_and_only_administrators_read_it(world, signed_in):
    teacher = signed_in(world.teacher)
    for _number in range(3):
        teacher.get(reverse("lessons:student-detail", args=[world.student.memberships.get().pk]))
    assert Event.objects.filter(verb="see_student").count() == 1
    page = text_of(signed_in(world.administrator).get(reverse("privacy:records")))
    assert "see_student" in page
    for who in ("student", "teacher", "technician"):
        assert signed_in(getattr(world, who)).get(reverse("privacy:records")).status_code == 404
    record(world.other_school.pk, world.other_teacher, "quarrel", world.other_school)
    assert "quarrel" not in text_of(signed_in(world.administrator).get(reverse("privacy:records")))


def test_old_records_go_too(world):
    record(world.school.pk, world.teacher, "old", world.school)
    Event.objects.update(at=timezone.now() - SLEEPING - timedelta(days=61))
    record(world.school.pk, world.teacher, "new", world.school)
    forget_what_is_due()
    assert [event.verb for event in Event.objects.all()] == ["new"]


def test_plates_that_only_waited_go_with_their_copies(busy):
    make_plate(busy, ordered(busy, busy.second_team), number=7)
    erasing.erase_class(busy.administrator, busy.school_class)
    assert not Plate.objects.filter(number=7).exists()


RAW = """
import os, django
os.environ["DJANGO_SETTINGS_MODULE"] = "makerlab.settings"
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from makerlab.accounts.models import Role, School, User
from lessons.models import Membership, SchoolClass
from makerlab.privacy.erasing import erase_class
school = School.objects.create(name="Alderwick School")
head = User.objects.create_staff(school, "head", Role.ADMINISTRATOR, "three wooden wheels", "head")
for number in range(3):
    room = SchoolClass.objects.create(school=school, name=f"7{number}", code=f"C{number}")
    for pupil in range(40):
        user = User.objects.create_student(school, f"Zebulonia{number}x{pupil}")
        Membership.objects.create(school_class=room, user=user, nickname=user.display_name)
print("stored", flush=True)
for room in SchoolClass.objects.all():
    erase_class(head, room)
"""


def test_not_even_the_bytes_of_the_database_file_hold_the_name(tmp_path):
    """SQLite leaves deleted rows in free pages and in its log unless told otherwise: the raw files are searched."""
    environment = {**os.environ, "MAKERLAB_VAR": str(tmp_path), "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'queue'}"}
    environment.pop("DATABASE_URL", None)
    done = subprocess.run(
        [sys.executable, "-c", RAW], cwd=ROOT, env=environment, text=True, capture_output=True, timeout=900
    )
    assert (done.returncode, done.stdout.strip()) == (0, "stored"), done.stderr
    raw = [path for path in tmp_path.iterdir() if path.name.startswith("makerlab.sqlite3")]
    assert raw
    assert [path.name for path in raw if b"zebulonia" in path.read_bytes().lower()] == []
