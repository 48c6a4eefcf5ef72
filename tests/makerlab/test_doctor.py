"""The doctor finds what was broken on purpose, says the remedy, and is silent of what is well."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.management import call_command
from django.db import OperationalError
from django.utils import timezone

from makerlab.health import doctor, ready
from makerlab.health.doctor import Finding, Level, examine
from makerlab.keeping.backup import PLAIN, PREFIX, STAMP
from makerlab.work import beat, warmth
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from printing.models import RoomHours
from tests.keeping.commands import manage

pytestmark = pytest.mark.django_db


@pytest.fixture
def well(world, settings, tmp_path: Path, monkeypatch) -> Path:
    """An installation with nothing to find: everything the doctor looks at is set right."""
    for name in list(os.environ):
        if name.startswith("MAKERLAB_") and name not in {"MAKERLAB_VAR"}:
            monkeypatch.delenv(name)
    settings.VAR, settings.MEDIA_ROOT, settings.BACKUPS = tmp_path, str(tmp_path / "media"), tmp_path / "backups"
    settings.DEMO, settings.ALLOWED_HOSTS = False, ["localhost"]
    for name in ("media", "backups"):
        (tmp_path / name).mkdir()
    settings.ENVIRONMENT = SimpleNamespace(secret_key=None, database_url=None)
    (tmp_path / "secret_key").write_text("x" * 50)
    (tmp_path / "secret_key").chmod(0o600)
    backup_of(tmp_path / "backups", hours=3)
    beat.beat(Lane.values)
    warmth.note_warm()
    monkeypatch.setattr(doctor, "disk_usage", lambda folder: SimpleNamespace(free=50 * 1024**3))
    return tmp_path


def backup_of(folder: Path, hours: int) -> None:
    made = timezone.now() - timedelta(hours=hours)
    (folder / f"{PREFIX}{made:{STAMP}}{PLAIN}").write_text("")


def troubles() -> list[Finding]:
    return [finding for finding in examine() if finding.level > Level.FINE]


def test_nothing_is_found_where_all_is_well(well):
    assert troubles() == []
    assert len(list(examine())) > 9


def by_words(words: str) -> Finding:
    (found,) = [finding for finding in troubles() if words in finding.what]
    assert found.remedy
    return found


def test_a_secret_others_may_read(well):
    (well / "secret_key").chmod(0o644)
    found = by_words("may be read by others (mode 644)")
    assert (found.level, found.remedy) == (Level.WRONG, f"chmod 600 {well}/secret_key")


def test_a_folder_everybody_may_write_to(well):
    (well / "media").chmod(0o777)
    assert by_words("everybody may write to").level == Level.WRONG


@pytest.mark.parametrize(("free_mb", "level"), [(100, Level.WRONG), (3000, Level.CARE)])
def test_a_full_disk(well, monkeypatch, free_mb, level):
    monkeypatch.setattr(doctor, "disk_usage", lambda folder: SimpleNamespace(free=free_mb * 1024**2))
    assert {(one.level, f"{free_mb:,} MB free" in one.what) for one in troubles()} == {(level, True)}


def test_files_that_cannot_be_written(well, settings):
    (well / "media").rmdir()
    (well / "media").write_text("in the way")
    assert by_words("files cannot be written to").level == Level.WRONG


def test_no_worker_and_a_job_that_waits(well, world):
    beat.leave()
    job = Job.objects.create(kind="check-submission", lane="measure", subject="1", school=world.school)
    Job.objects.filter(pk=job.pk).update(created_at=timezone.now() - timedelta(minutes=40))
    assert "manage.py worker" in by_words("no worker was heard of").remedy
    assert by_words("a job waits for 40 minutes").level == Level.CARE


def test_kernels_of_another_release(well):
    warmth.stamp().write_text("of yesterday")
    assert "manage.py warmup" in by_words("kernels of this release were not compiled").remedy


def test_a_clock_that_was_set_back(well, world):
    job = Job.objects.create(kind="check-submission", lane="measure", subject="1", school=world.school)
    Job.objects.filter(pk=job.pk).update(created_at=timezone.now() + timedelta(hours=2))
    assert by_words("the newest job is 120 minutes in the future").level == Level.WRONG


def test_a_room_nobody_comes_to(well, world):
    RoomHours.objects.all().delete()
    assert by_words(f"room {world.room.pk} has no hours").level == Level.CARE


def test_backups_missing_late_or_not_set_up(well, settings):
    for path in (well / "backups").iterdir():
        path.unlink()
    assert by_words("no backup in").level == Level.WRONG
    backup_of(well / "backups", hours=31)
    assert by_words("the newest 31 hours old").level == Level.WRONG
    settings.BACKUPS = None
    assert "MAKERLAB_BACKUPS" in by_words("no daily backup is set up").remedy


def test_a_broker_that_is_away(well, settings):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    assert by_words("Redis is not reached (ConnectionError)").level == Level.WRONG


def test_a_misspelt_variable(well, monkeypatch):
    monkeypatch.setenv("MAKERLAB_BACKUP", "/mnt/x")
    assert by_words("MAKERLAB_BACKUP is set and nothing reads it").remedy == "It may have meant MAKERLAB_BACKUPS."


def test_a_database_that_is_away_is_told_and_the_rest_is_looked_at_all_the_same(well, monkeypatch):
    def away():
        raise OperationalError("away")

    monkeypatch.setattr(ready.connection, "cursor", away)
    assert by_words("the database is not reached").level == Level.WRONG
    found = list(examine())
    assert any("files can be written" in one.what for one in found)
    assert any("could not be looked at (OperationalError: away)" in one.what for one in found)


def test_the_command_exits_by_what_it_found(well, capsys):
    call_command("doctor")
    (well / "secret_key").chmod(0o604)
    with pytest.raises(SystemExit) as ended:
        call_command("doctor")
    assert ended.value.code == 1
    out = capsys.readouterr().out
    assert f"chmod 600 {well}/secret_key" in out
    assert "kernels of this release are compiled" in out


@pytest.mark.slow
def test_on_an_empty_folder_it_says_what_to_run_first(tmp_path):
    done = manage(["doctor"], tmp_path / "new")
    assert done.returncode == 1
    assert "Run manage.py upgrade." in done.stdout
    assert "Traceback" not in done.stderr
