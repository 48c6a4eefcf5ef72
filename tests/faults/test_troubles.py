"""The machine in trouble: a plain page, nothing half done, and well again without anybody's help."""

from __future__ import annotations

import errno
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from makerlab.audit.models import Event
from makerlab.work import actions, beat
from makerlab.work.lanes import Lane
from makerlab.work.models import Heartbeat, Job
from submissions.models import Submission
from tests.meshcheck.badfiles import binary_stl, cube_corners
from tests.world import World

pytestmark = pytest.mark.django_db
CUBE = binary_stl(cube_corners(20.0))


@pytest.fixture
def student(world: World) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(world.student)
    return client


def send(client: Client, world: World, content: bytes):
    path = reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk])
    return client.post(path, {"file": SimpleUploadedFile("wheel.stl", content)})


@contextmanager
def files_at_most(size: int) -> Iterator[None]:
    """The system itself refuses to let any file of this process grow over ``size`` bytes (RLIMIT_FSIZE)."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def stored(settings) -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def told_plainly(answer, status: int, words: str) -> None:
    assert answer.status_code == status
    page = answer.content.decode()
    assert words in page
    assert "what was there before is unharmed" in page
    assert answer["Makerlab-Incident"] in page
    assert "Traceback" not in page


def test_a_disk_that_fills_in_the_middle_of_a_file(world, student, settings):
    content = CUBE + b"\0" * 300_000  # trailing bytes
    with files_at_most(100_000):
        answer = send(student, world, content)
    told_plainly(answer, 507, "The server&#x27;s disk is full")
    assert (Submission.objects.count(), Job.objects.count()) == (0, 0)
    assert stored(settings) == [], "no half of a file stays behind"
    assert send(student, world, content).status_code == 302
    assert Submission.objects.get().file.size == len(content)


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EDQUOT])
def test_a_full_disk_and_a_used_up_quota(world, student, settings, monkeypatch, code):
    def full(self, name, content):
        raise OSError(code, "full", "/secret/place")

    with monkeypatch.context() as patch:
        patch.setattr(FileSystemStorage, "_save", full)
        answer = send(student, world, CUBE)
    told_plainly(answer, 507, "The server&#x27;s disk is full")
    assert b"/secret/place" not in answer.content
    assert Submission.objects.count() == 0
    assert send(student, world, CUBE).status_code == 302


def test_a_database_that_goes_away_in_an_upload(world, student, settings, monkeypatch):
    def away(*args, **kwargs):
        raise OperationalError("server closed the connection unexpectedly")

    with monkeypatch.context() as patch:
        patch.setattr("submissions.actions.store_once", away)
        answer = send(student, world, CUBE)
    told_plainly(answer, 503, "The server cannot reach its records just now")
    assert answer["Retry-After"] == "30"
    assert stored(settings) == []
    assert send(student, world, CUBE).status_code == 302


def test_a_database_file_that_cannot_grow_is_a_full_disk(world, student, monkeypatch):
    def full(*args, **kwargs):
        raise OperationalError("database or disk is full")  # SQLite's words for SQLITE_FULL (sqlite.org/rescode.html)

    monkeypatch.setattr("submissions.actions.store_once", full)
    told_plainly(send(student, world, CUBE), 507, "The server&#x27;s disk is full")


def test_a_stored_file_that_is_missing(world, student):
    assert send(student, world, CUBE).status_code == 302
    submission = Submission.objects.get()
    Path(submission.file.path).unlink()
    actions.run_waiting(Lane.MEASURE)
    submission.refresh_from_db()
    assert submission.check_error == "The stored file is missing. Please upload it again."
    report = student.get(reverse("submissions:submission-report", args=[submission.pk]))
    assert report.status_code == 200
    assert "The stored file is missing" in report.content.decode()
    assert student.get(reverse("submissions:submission-file", args=[submission.pk])).status_code == 404
    assert send(student, world, CUBE).status_code == 302, "the same file may be sent again"


def test_a_clock_set_back_by_a_day(world, monkeypatch):
    """A job of another machine's worker that died: its lease would end tomorrow by the clock of today."""
    Event.objects.all().delete()
    job = Job.objects.create(
        kind="check-submission", lane=Lane.MEASURE, subject="0", school=world.school, state="running", attempt=1,
        worker="elsewhere:12:34.50", lease_until=timezone.now() + timedelta(seconds=110),
    )  # fmt: skip
    beat.beat(Lane.values)
    Heartbeat.objects.update(worker="elsewhere:12:34.50")
    assert actions.sweep() == 0
    yesterday = timezone.now() - timedelta(days=1)
    monkeypatch.setattr(timezone, "now", lambda: yesterday)
    assert actions.sweep() == 1
    job.refresh_from_db()
    assert job.state == "waiting"
    assert beat.lanes_without_worker() == Lane.values, "a heartbeat of tomorrow is nobody's"


def test_a_clock_a_minute_apart_takes_no_job_from_anybody(world, monkeypatch):
    Job.objects.create(
        kind="check-submission", lane=Lane.MEASURE, subject="0", school=world.school, state="running", attempt=1,
        worker="elsewhere:12:34.50", lease_until=timezone.now() + timedelta(seconds=110),
    )  # fmt: skip
    before = timezone.now() - timedelta(minutes=1)
    monkeypatch.setattr(timezone, "now", lambda: before)
    assert actions.sweep() == 0
