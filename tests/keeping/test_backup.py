"""A backup holds everything, says what is wrong with itself, and goes only into an empty place."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from io import StringIO
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection

from makerlab.keeping import backup as making
from makerlab.keeping import restore as restoring
from makerlab.keeping.backup import make_backup
from makerlab.keeping.encryption import Lock
from makerlab.keeping.restore import check, restore
from makerlab.keeping.trouble import KeepingTrouble
from submissions.models import Submission
from tests.submissions.make import make_submission, stored_files

ROOT = Path(__file__).resolve().parents[2]
pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL: see test_postgres.py and test_under_load.py"),
]


@pytest.fixture(autouse=True)
def _folder(settings, tmp_path: Path) -> None:
    settings.VAR = tmp_path / "var"
    settings.BACKUPS = None
    settings.BACKUP_TO = settings.BACKUP_PASSPHRASE = ""


@pytest.fixture
def made(world, signed_in, tmp_path: Path) -> Path:
    """A backup of a world with two uploaded files and somebody signed in."""
    make_submission(world, version=1)
    make_submission(world, version=2)
    signed_in(world.teacher).get("/")
    return make_backup(tmp_path / "backups", Lock()).path


def nobody() -> str:
    return ""


def rows_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, read without our code."""
    with sqlite3.connect(path) as database:
        tables = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        found = {table: sorted(database.execute(f'SELECT * FROM "{table}"'), key=repr) for table in tables}
    database.close()
    return found


def test_what_comes_back_is_what_was_there(made, tmp_path):
    with sqlite3.connect(tmp_path / "live.sqlite3") as copy:
        connection.connection.backup(copy)
    copy.close()
    restore(made, tmp_path / "back", nobody, lambda line: None)
    live, back = rows_of(tmp_path / "live.sqlite3"), rows_of(tmp_path / "back" / "makerlab.sqlite3")
    assert live.pop("django_session")
    assert back.pop("django_session") == [], "an old session must not be let in again"
    assert back == live
    media = tmp_path / "back" / "media"
    files = {str(path.relative_to(media)): path.read_bytes() for path in media.rglob("*") if path.is_file()}
    assert files == {one.file.name: Path(one.file.path).read_bytes() for one in Submission.objects.all()}


def test_checking_says_what_was_proved_and_changes_nothing(made, tmp_path):
    before = sorted(tmp_path.rglob("*"))
    proved = " ".join(check(made, nobody).proved)
    assert "2 stored files" in proved
    assert "every foreign key holds" in proved
    assert sorted(tmp_path.rglob("*")) == before


def test_only_the_owner_may_read_a_backup(made):
    assert made.stat().st_mode & 0o077 == 0
    assert made.parent.stat().st_mode & 0o077 == 0


def test_any_zip_program_opens_it(made):
    with zipfile.ZipFile(made) as archive:
        assert archive.testzip() is None
        assert {"database", "manifest.json"} < set(archive.namelist())


def test_every_flipped_byte_is_noticed_and_nothing_is_restored(made, tmp_path):
    whole, dice = made.read_bytes(), random.Random(7)
    places = [0, 30, len(whole) - 1, len(whole) - 70, *(dice.randrange(len(whole)) for _ in range(60))]
    for place in places:
        damaged = bytearray(whole)
        damaged[place] ^= 1 << dice.randrange(8)
        bad = tmp_path / "bad.backup.zip"
        bad.write_bytes(damaged)
        with pytest.raises(KeepingTrouble, match=r"damaged|no backup"):
            restore(bad, tmp_path / "back", nobody, lambda line: None)
        assert not (tmp_path / "back" / "makerlab.sqlite3").exists(), place
        assert not (tmp_path / "back" / "media").exists(), place


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.99])
def test_a_file_cut_short_is_told(made, tmp_path, share):
    bad = tmp_path / "bad.backup.zip"
    bad.write_bytes(made.read_bytes()[: int(made.stat().st_size * share)])
    with pytest.raises(KeepingTrouble, match="its end is missing"):
        check(bad, nobody)


def test_a_file_that_is_none_of_ours_and_one_that_is_not_there(tmp_path):
    other = tmp_path / "other.zip"
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("a", "b")
    with pytest.raises(KeepingTrouble, match="no backup of Makerlab"):
        check(other, nobody)
    with pytest.raises(KeepingTrouble, match="no such file"):
        check(tmp_path / "nowhere.zip", nobody)


def test_nothing_is_overwritten(made, tmp_path):
    restore(made, tmp_path / "back", nobody, lambda line: None)
    before = (tmp_path / "back" / "makerlab.sqlite3").read_bytes()
    with pytest.raises(KeepingTrouble, match="overwrites nothing"):
        restore(made, tmp_path / "back", nobody, lambda line: None)
    assert (tmp_path / "back" / "makerlab.sqlite3").read_bytes() == before
    (tmp_path / "files" / "media").mkdir(parents=True)
    (tmp_path / "files" / "media" / "mine.stl").write_text("mine")
    with pytest.raises(KeepingTrouble, match="overwrites nothing"):
        restore(made, tmp_path / "files", nobody, lambda line: None)
    assert (tmp_path / "files" / "media" / "mine.stl").read_text() == "mine"


def test_a_passphrase_and_a_wrong_one(world, tmp_path):
    make_submission(world)
    made = make_backup(tmp_path / "backups", Lock(passphrase="seven quiet herons")).path
    assert b"SQLite format" not in made.read_bytes()
    with pytest.raises(KeepingTrouble, match="passphrase does not open"):
        restore(made, tmp_path / "back", lambda: "seven loud herons", lambda line: None)
    assert not (tmp_path / "back" / "media").exists()
    with pytest.raises(KeepingTrouble, match="encrypted by a passphrase"):
        check(made, nobody)
    restore(made, tmp_path / "back", lambda: "seven quiet herons", lambda line: None)
    assert (tmp_path / "back" / "makerlab.sqlite3").exists()


def test_a_public_key_and_a_wrong_secret_one(world, tmp_path):
    pyrage = pytest.importorskip("pyrage")
    ours, other = pyrage.x25519.Identity.generate(), pyrage.x25519.Identity.generate()
    made = make_backup(tmp_path / "backups", Lock(public_key=str(ours.to_public()))).path
    with pytest.raises(KeepingTrouble, match="secret key"):
        check(made, nobody)
    with pytest.raises(KeepingTrouble, match="key does not open"):
        check(made, nobody, str(other))
    with pytest.raises(KeepingTrouble, match="cannot be read"):
        check(made, nobody, "not a key")
    assert check(made, nobody, f"# made today\n{ours}\n").proved
    with pytest.raises(KeepingTrouble, match="age1"):
        make_backup(tmp_path / "more", Lock(public_key="nonsense"))
    assert list((tmp_path / "more").iterdir()) == []


def test_an_encrypted_backup_opens_with_the_library_alone(world, tmp_path):
    pyrage = pytest.importorskip("pyrage")
    made = make_backup(tmp_path / "backups", Lock(passphrase="seven quiet herons")).path
    with zipfile.ZipFile(made) as outer:
        key = pyrage.passphrase.decrypt(outer.read("key.age"), "seven quiet herons").decode().strip()
        plain = pyrage.decrypt(outer.read("backup.zip.age"), [pyrage.x25519.Identity.from_str(key)])
    (tmp_path / "plain.zip").write_bytes(plain)
    assert check(tmp_path / "plain.zip", nobody).proved


def test_a_missing_file_is_named_and_the_rest_is_kept(world, tmp_path):
    lost, there = make_submission(world, version=1), make_submission(world, version=2)
    Path(lost.file.path).unlink()
    out = StringIO()
    with pytest.raises(CommandError, match=lost.file.name):
        call_command("backup", folder=tmp_path / "backups", stdout=out)
    (made,) = (tmp_path / "backups").iterdir()
    manifest = restore(made, tmp_path / "back", nobody, lambda line: None)
    assert manifest.missing == (lost.file.name,)
    assert (tmp_path / "back" / "media" / there.file.name).exists()


def test_a_row_deleted_while_its_file_is_copied_calls_for_a_second_look(world, tmp_path, monkeypatch):
    going = make_submission(world, version=1)
    make_submission(world, version=2)
    copy = making._copy_file

    def meanwhile(archive, name, copied):
        if Submission.objects.filter(pk=going.pk).delete()[0]:
            default_storage.delete(going.file.name)
        return copy(archive, name, copied)

    monkeypatch.setattr(making, "_copy_file", meanwhile)
    manifest = make_backup(tmp_path / "backups", Lock()).manifest
    assert (manifest.missing, manifest.tables["submissions_submission"], len(manifest.files)) == ((), 1, 1)


def test_a_newer_releases_database_is_not_touched(world, tmp_path):
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('printing', '9999_later', '2030-01-01')"
        )
    try:
        for command in (["backup", "--folder", str(tmp_path / "backups")], ["upgrade"]):
            with pytest.raises(CommandError, match=r"newer release.*printing\.9999_later"):
                call_command(*command, stdout=StringIO())
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM django_migrations WHERE name = '9999_later'")
    assert not (tmp_path / "backups").exists()


def test_a_newer_releases_backup_is_refused(made, tmp_path, monkeypatch):
    known = restoring.known_migrations() - {"printing.0006_written_permission"}
    monkeypatch.setattr("makerlab.keeping.schema.known_migrations", lambda: known)
    with pytest.raises(KeepingTrouble, match="newer release"):
        restore(made, tmp_path / "back", nobody, lambda line: None)
    assert not (tmp_path / "back" / "media").exists()


def test_a_folder_that_cannot_be_written_is_told(world, tmp_path):
    (tmp_path / "a-file").write_text("")
    with pytest.raises(KeepingTrouble, match="The backup did not work"):
        make_backup(tmp_path / "a-file" / "backups", Lock())


def test_a_full_disk_leaves_nothing_half_made(made, tmp_path, small_disk):
    shutil.copy(made, small_disk / made.name)
    kept = (small_disk / made.name).read_bytes()
    (small_disk / "filler").write_bytes(bytes(shutil.disk_usage(small_disk).free - 8192))
    with pytest.raises(KeepingTrouble, match=r"full|Make room"):
        make_backup(small_disk, Lock())
    assert sorted(path.name for path in small_disk.iterdir()) == sorted([made.name, "filler"])
    assert (small_disk / made.name).read_bytes() == kept
    with pytest.raises(KeepingTrouble, match=r"full|Make room"):
        restore(made, small_disk / "back", nobody, lambda line: None)
    assert not (small_disk / "back" / "makerlab.sqlite3").exists()


def test_the_commands_by_themselves(tmp_path, made):
    """As an administrator types them: a process of its own, its folder by the environment."""
    from tests.keeping.commands import manage

    told = manage(["restore", str(made)], tmp_path / "new")
    assert told.returncode == 0, told.stderr
    told = manage(["backup", "--keep", "14"], tmp_path / "new")
    assert told.returncode == 0, told.stderr
    assert "proved; not encrypted" in told.stdout
    told = manage(["restore", str(made)], tmp_path / "new")
    assert told.returncode == 1
    assert "overwrites nothing" in told.stderr
    assert "Traceback" not in told.stderr
    assert len(stored_files()) == 2


def test_without_the_library_an_encrypted_backup_is_not_made(world, tmp_path):
    code = "import sys; sys.modules['pyrage'] = None\nfrom makerlab.keeping.encryption import library\nlibrary()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False)
    assert "pip install pyrage" in done.stderr
