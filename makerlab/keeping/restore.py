"""Puts a backup back: into an empty place only, proved first, then brought up to this release. Files go into the
folder's ``media``, or, where MAKERLAB_S3_BUCKET names a bucket, into that."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings
from django.core.files import File
from django.core.files.storage import default_storage
from django.db import connection

from makerlab.keeping.archive import MEDIA, check_seal, extract, open_backup
from makerlab.keeping.check import Checked, check_backup, compare_rows
from makerlab.keeping.encryption import decrypt, is_encrypted
from makerlab.keeping.manifest import Manifest
from makerlab.keeping.schema import known_migrations
from makerlab.keeping.snapshot import (
    SQLITE,
    connect_postgres,
    count_postgres,
    postgres_address,
    program,
    run_program,
)
from makerlab.keeping.trouble import KeepingTrouble, disk_words
from makerlab.supervisor import MANAGE
from makerlab.work.stored_files import is_folder

DATABASE_FILE = "makerlab.sqlite3"
KINDS = {SQLITE: "SQLite", "postgresql": "PostgreSQL"}
Say = Callable[[str], None]


@contextlib.contextmanager
def opened(path: Path, near: Path, passphrase: Callable[[], str], key_text: str = "") -> Iterator[tuple[Path, Path]]:
    """The plain backup inside ``path`` and a folder to work in, both gone afterwards. ``near`` is where there is room;
    ``passphrase`` is asked only when it is needed."""
    check_seal(path)
    near.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="restore-", dir=near) as name:
        work = Path(name)
        if not is_encrypted(path):
            yield path, work
            return
        plain = work / "plain.zip"
        with plain.open("xb") as target:
            decrypt(path, target, "" if key_text else passphrase(), key_text)
        yield plain, work


def check(path: Path, passphrase: Callable[[], str], key_text: str = "") -> Checked:
    """Prove a backup without changing anything; a PostgreSQL one on a database of its own where that is allowed."""
    with (
        disk_words(settings.VAR, "Checking the backup"),
        opened(path, settings.VAR, passphrase, key_text) as (plain, work),
    ):
        checked = check_backup(plain, work)
        if checked.manifest.database_kind == SQLITE or connection.vendor == SQLITE:
            return checked
        return _tried(checked, plain, work)


def _tried(checked: Checked, plain: Path, work: Path) -> Checked:
    """The dump restored into a database made for it and dropped again."""
    name = f"makerlab_check_{os.getpid()}"
    with connect_postgres(autocommit=True) as server:
        allowed = server.execute("SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user").fetchone()
        if allowed != (True,):
            return Checked(checked.manifest, checked.proved, ("foreign keys: this account may not make a database",))
        server.execute(f'CREATE DATABASE "{name}"')
        try:
            _fill_postgres(checked.manifest, plain, work, name)
        finally:
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
    tried = "restored into a database of its own, every foreign key held, rows as counted; that database is gone again"
    return Checked(checked.manifest, (*checked.proved, tried))


def _fill_postgres(manifest: Manifest, plain: Path, work: Path, name: str | None) -> None:
    dump = work / "dump"
    with open_backup(plain) as (archive, _manifest), dump.open("xb") as target:
        extract(archive, manifest.database, target)
    address, environment = postgres_address(name)
    run_program(
        [program("pg_restore"), "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction",
         f"--dbname={address}", str(dump)],
        environment, "Filling the database",
    )  # fmt: skip
    dump.unlink()
    with connect_postgres(name) as database:
        compare_rows(manifest, count_postgres(database))


def restore(path: Path, into: Path, passphrase: Callable[[], str], say: Say, key_text: str = "") -> Manifest:
    """Put a backup into the folder ``into`` (and, with PostgreSQL, into the configured database), which must be empty.

    Proved before anything is put in place; a backup of an older release is brought up to this one. Raises
    KeepingTrouble; then the place is as empty as before.
    """
    with disk_words(into, "Restoring"):
        _must_be_empty(into)
        with opened(path, into, passphrase, key_text) as (plain, work):
            checked = check_backup(plain, work)
            manifest = checked.manifest
            if manifest.database_kind != connection.vendor:
                raise KeepingTrouble(
                    f"This is a backup of a {KINDS[manifest.database_kind]} database, and DATABASE_URL "
                    f"{'names PostgreSQL' if connection.vendor != SQLITE else 'is not set, which means SQLite'}. "
                    "Restore it with the same kind of database."
                )
            for line in checked.proved:
                say(line)
            ready = work / "var"
            ready.mkdir()
            _unpack_files(plain, manifest, ready / "media")
            if manifest.database_kind == SQLITE:
                _sqlite_up_to_date(plain, manifest, ready)
            _must_be_empty(into)
            with _bucket_filled(ready / "media", say):
                _put_in_place(ready, into)
                if manifest.database_kind != SQLITE:
                    _fill_postgres(manifest, plain, work, None)
                    if not known_migrations() <= set(manifest.migrations):
                        migrate(into)
        return manifest


def _must_be_empty(into: Path) -> None:
    media = into / "media"
    if (into / DATABASE_FILE).exists() or (media.exists() and any(media.rglob("*"))):
        raise KeepingTrouble(
            f"There is a database or there are files in {into} already, and a restore overwrites nothing. "
            "Name an empty folder: --into FOLDER, or MAKERLAB_VAR=FOLDER."
        )
    if not is_folder() and any(default_storage.listdir("")):
        raise KeepingTrouble(
            f"The bucket {settings.ENVIRONMENT.s3_bucket} has files already, and a restore overwrites nothing. Name an "
            "empty one in MAKERLAB_S3_BUCKET; without it the files go into the folder."
        )
    if connection.vendor != SQLITE:
        with connect_postgres() as database:
            if count_postgres(database):
                raise KeepingTrouble(
                    "The database that DATABASE_URL names has tables already, and a restore overwrites nothing. "
                    "Make an empty one (createdb NAME) and name it in DATABASE_URL."
                )


def _unpack_files(plain: Path, manifest: Manifest, media: Path) -> None:
    media.mkdir()
    with open_backup(plain) as (archive, _manifest):
        for member in manifest.files:
            target = (media / member.name.removeprefix(MEDIA)).resolve()
            if not target.is_relative_to(media.resolve()):
                raise KeepingTrouble(f"The backup names a file outside the store: {member.name}.")
            target.parent.mkdir(parents=True, exist_ok=True)
            with open(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
                extract(archive, member, stream)


def _sqlite_up_to_date(plain: Path, manifest: Manifest, ready: Path) -> None:
    database = ready / DATABASE_FILE
    with open_backup(plain) as (archive, _manifest), database.open("xb") as target:
        extract(archive, manifest.database, target)
    os.chmod(database, 0o600)
    if known_migrations() <= set(manifest.migrations):
        return
    migrate(ready)
    with contextlib.closing(sqlite3.connect(database)) as finished:
        finished.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finished.execute("PRAGMA journal_mode=DELETE")
        broken = finished.execute("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise KeepingTrouble(f"After bringing it up to this release, rows point nowhere: {broken[0]}.")


def migrate(var: Path) -> None:
    """Bring the database of the folder ``var`` (or of DATABASE_URL) up to this release. Raises KeepingTrouble."""
    environment = {**os.environ, "MAKERLAB_VAR": str(var), "MAKERLAB_SECRET_KEY": settings.SECRET_KEY}
    done = subprocess.run(
        [sys.executable, str(MANAGE), "migrate", "--noinput", "-v0"],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["no message"])[-1]
        raise KeepingTrouble(f"Bringing the database up to this release did not work: {last}")


@contextlib.contextmanager
def _bucket_filled(media: Path, say: Say) -> Iterator[None]:
    """Where the store is a bucket: the files go there, and leave it again when the block fails."""
    put: list[str] = []
    try:
        if not is_folder():
            for path in sorted(each for each in media.rglob("*") if each.is_file()):
                name = path.relative_to(media).as_posix()
                put.append(name)
                with path.open("rb") as stream:
                    default_storage.save(name, File(stream))
            shutil.rmtree(media)
            media.mkdir()
            say(f"{len(put)} files put into the bucket {settings.ENVIRONMENT.s3_bucket}")
        yield
    except BaseException:  # whatever stopped it, what was put into the bucket goes out again
        for name in put:
            default_storage.delete(name)
        raise


def _put_in_place(ready: Path, into: Path) -> None:
    media = into / "media"
    if media.exists():
        shutil.rmtree(media)  # proved empty
    os.replace(ready / "media", media)
    if (ready / DATABASE_FILE).exists():
        os.replace(ready / DATABASE_FILE, into / DATABASE_FILE)
