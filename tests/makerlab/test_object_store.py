"""Files in an S3-compatible bucket, by a real server of the protocol on loopback (moto's): stored, checked in the
child, sent, erased, backed up and put back. What lies in the bucket is asked of the server by boto3,
not of our code."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from io import StringIO
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import TestCase
from django.urls import reverse

from makerlab.health import ready
from makerlab.keeping import restore as restoring
from makerlab.keeping.backup import make_backup
from makerlab.keeping.encryption import Lock
from makerlab.keeping.trouble import KeepingTrouble
from makerlab.privacy.erasing import erase_student
from makerlab.work import child
from makerlab.work.actions import run_waiting
from makerlab.work.stored_files import in_place, stored
from submissions.models import Submission
from tests.keeping.commands import manage
from tests.object_store import Bucket, bucket_server
from tests.submissions.make import make_submission, post_file, stl_upload, stored_files, wheel_stl

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
TEMPORARY = Path(os.environ.get("TMPDIR", "/tmp"))


@pytest.fixture(scope="module")
def server() -> Iterator[Bucket]:
    with bucket_server() as bucket:
        yield bucket


@pytest.fixture
def bucket(server, settings, request) -> Bucket:
    """A bucket of each test's own, in force as the store."""
    name = f"makerlab-test-{abs(hash(request.node.nodeid)) % 10**9}"
    server.client.create_bucket(Bucket=name)
    made = replace(server, name=name)
    use(settings, made)
    return made


def use(settings, bucket: Bucket) -> None:
    store = {"BACKEND": "makerlab.object_store.ObjectStore", "OPTIONS": bucket.options}
    settings.STORAGES = {**settings.STORAGES, "default": store}
    settings.ENVIRONMENT = SimpleNamespace(s3_bucket=bucket.name)


def copies_left() -> list[Path]:
    return list(TEMPORARY.glob("stored-*"))


def test_an_upload_is_stored_checked_sent_and_erased(bucket, world, signed_in):
    content = wheel_stl()
    with TestCase.captureOnCommitCallbacks(execute=True):
        response = post_file(signed_in(world.student), world, stl_upload(content))
    assert response.status_code == 302
    submission = Submission.objects.get()
    assert bucket.names() == {submission.file.name}
    assert bucket.content(submission.file.name) == content
    before = copies_left()
    with TestCase.captureOnCommitCallbacks(execute=True):
        assert run_waiting("measure") == 1
    submission.refresh_from_db()
    assert (submission.check_state, submission.check_error) == ("checked", "")
    assert submission.report["bbox_mm"]
    assert copies_left() == before, "the child's copy of the file was left behind"
    assert submission.file.name in bucket.names()
    assert len(bucket.names()) > 1, "what is shown of the part lies in the bucket, too"
    sent = signed_in(world.student).get(reverse("submissions:submission-file", args=[submission.pk]))
    assert b"".join(sent.streaming_content) == content
    sent.close()
    with TestCase.captureOnCommitCallbacks(execute=True):
        erase_student(world.administrator, world.student)
    assert bucket.names() == set()
    assert stored_files() == [], "nothing of it was ever in the folder"


def test_the_same_bytes_are_stored_once_and_a_refused_upload_leaves_nothing(bucket, world, signed_in, settings):
    with TestCase.captureOnCommitCallbacks(execute=True):
        post_file(signed_in(world.student), world, stl_upload())
    kept = bucket.names()
    settings.TEAM_MAX_BYTES = 1000
    with TestCase.captureOnCommitCallbacks(execute=True):
        post_file(signed_in(world.student), world, stl_upload(wheel_stl(9)))
    assert bucket.names() == kept


def test_a_file_that_is_gone_is_told_by_page_check_and_child(bucket, world, signed_in):
    submission = make_submission(world)
    bucket.client.delete_object(Bucket=bucket.name, Key=submission.file.name)
    page = signed_in(world.student).get(reverse("submissions:submission-file", args=[submission.pk]))
    assert page.status_code == 404
    with pytest.raises(FileNotFoundError):
        child.run("meshcheck.service:layer", {"path": stored(submission.file)})


def test_one_file_is_fetched_once_however_often_a_plate_holds_it(bucket, monkeypatch):
    name = default_storage.save("parts/aa/one", ContentFile(b"1234"))
    fetched = []
    real = default_storage.open
    monkeypatch.setattr(default_storage._wrapped, "open", lambda *given: fetched.append(given) or real(*given))
    part = {"path": stored(SimpleNamespace(name=name))}
    with in_place({"parts": [part, part], "number": 3}) as local:
        paths = {each["path"] for each in local["parts"]}
        assert [Path(path).read_bytes() for path in paths] == [b"1234"]
        assert local["number"] == 3
    assert len(fetched) == 1
    assert not any(Path(path).exists() for path in paths)


def test_a_file_is_never_written_over(bucket):
    first = default_storage.save("parts/aa/one", ContentFile(b"first"))
    second = default_storage.save("parts/aa/one", ContentFile(b"second"))
    assert first != second
    assert bucket.content(first) == b"first"


@pytest.fixture
def backup_of_two(world, bucket, settings, tmp_path) -> Path:
    settings.VAR, settings.BACKUPS = tmp_path / "var", None
    settings.BACKUP_TO = settings.BACKUP_PASSPHRASE = ""
    make_submission(world, version=1)
    make_submission(world, version=2)
    return make_backup(tmp_path / "backups", Lock()).path


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="the database's part of it is in tests/keeping")
def test_a_backup_takes_the_bucket_along_and_goes_back_only_into_an_empty_one(
    backup_of_two, server, bucket, settings, tmp_path
):
    said: list[str] = []
    with pytest.raises(KeepingTrouble, match=f"bucket {bucket.name} has files already"):
        restoring.restore(backup_of_two, tmp_path / "back", str, said.append)
    was = {name: bucket.content(name) for name in bucket.names()}
    assert len(was) == 2
    server.client.create_bucket(Bucket="makerlab-other")
    other = replace(server, name="makerlab-other")
    use(settings, other)
    restoring.restore(backup_of_two, tmp_path / "back", str, said.append)
    assert {name: other.content(name) for name in other.names()} == was
    assert "2 files put into the bucket makerlab-other" in said
    assert (tmp_path / "back" / "makerlab.sqlite3").exists()
    assert not any((tmp_path / "back" / "media").iterdir())


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="the database's part of it is in tests/keeping")
def test_a_restore_that_fails_leaves_the_bucket_as_empty_as_before(
    backup_of_two, server, settings, tmp_path, monkeypatch
):
    server.client.create_bucket(Bucket="makerlab-third")
    third = replace(server, name="makerlab-third")
    use(settings, third)

    def full(ready: Path, into: Path) -> None:
        assert len(third.names()) == 2
        raise KeepingTrouble("the disk is full")

    monkeypatch.setattr(restoring, "_put_in_place", full)
    with pytest.raises(KeepingTrouble, match="full"):
        restoring.restore(backup_of_two, tmp_path / "back", str, lambda line: None)
    assert third.names() == set()


def test_the_command_makes_the_bucket_and_readiness_tells_when_it_is_gone(server, settings):
    fresh = replace(server, name="makerlab-fresh")
    use(settings, fresh)
    assert ready.storage().startswith("the bucket cannot be used")
    with pytest.raises(CommandError, match="the bucket makerlab-fresh, does not work"):
        call_command("store")
    said = StringIO()
    call_command("store", "--make", stdout=said)
    assert "works" in said.getvalue()
    assert ready.storage() == ready.WELL
    assert fresh.names() == set()


STORE = (
    "from django.core.files.storage import storages; s = storages['default']; print(type(s).__name__, s.exists('x'))"
)


def test_the_environment_turns_it_on(server, tmp_path):
    done = manage(["shell", "-v0", "-c", STORE], tmp_path, **server.environment)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["ObjectStore", "False"]
    told = manage(["config"], tmp_path, **server.environment).stdout
    assert server.name in told
    assert "a-secret" not in told


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"MAKERLAB_S3_BUCKET": "lab", "MAKERLAB_S3_KEY": "k"}, "MAKERLAB_S3_SECRET: the key and its secret"),
        ({"MAKERLAB_S3_BUCKET": "Not A Bucket"}, "MAKERLAB_S3_BUCKET"),
        ({"MAKERLAB_S3_BUCKET": "lab", "MAKERLAB_S3_ENDPOINT": "store:9000"}, "MAKERLAB_S3_ENDPOINT"),
    ],
)
def test_a_wrong_environment_is_told(values, words, tmp_path):
    done = manage(["config"], tmp_path, **values)
    assert done.returncode == 1
    assert words in done.stderr
    assert "Traceback" not in done.stderr
