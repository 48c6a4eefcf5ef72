"""Proves a backup: seal, every fingerprint, the database's own integrity check, foreign keys, rows by table."""

from __future__ import annotations

import io
import re
import sqlite3
import subprocess
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from makerlab.keeping.archive import extract, open_backup
from makerlab.keeping.manifest import Manifest
from makerlab.keeping.schema import unknown
from makerlab.keeping.snapshot import NOT_KEPT, SQLITE, count_sqlite, program
from makerlab.keeping.trouble import KeepingTrouble, disk_words

_COPY = re.compile(rb'^COPY (?:"?\w+"?\.)?"?(\w+)"? \(')


@dataclass(frozen=True, slots=True)
class Checked:
    """What was proved, line by line, and what could not be tried here."""

    manifest: Manifest
    proved: tuple[str, ...]
    untried: tuple[str, ...] = ()


class _Nowhere(io.RawIOBase):
    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        return len(data)  # type: ignore[arg-type]


def check_backup(path: Path, work: Path) -> Checked:
    """Read a plain backup from end to end. ``work`` is a folder for the unpacked database.

    Raises KeepingTrouble with what does not hold.
    """
    with disk_words(work, "Checking the backup"), open_backup(path) as (archive, manifest):
        strange = unknown(manifest.migrations)
        if strange:
            raise KeepingTrouble(
                f"This backup was made by a newer release of Makerlab ({manifest.release}): it has {strange[0]}, which "
                "this release does not know. Install that release, then restore it there."
            )
        for member in manifest.files:
            extract(archive, member, _Nowhere())  # type: ignore[arg-type]  # written to, nothing else
        database = work / "checked-database"
        try:
            _unpack(archive, manifest, database)
            lines, untried = _check_database(manifest, database)
        finally:
            database.unlink(missing_ok=True)
    size = sum(member.bytes for member in manifest.files)
    files = f"{len(manifest.files):,} stored files, {size / 1e6:,.1f} MB: every fingerprint fits"
    return Checked(manifest, ("the seal of the whole file fits", files, *lines), untried)


def _unpack(archive: zipfile.ZipFile, manifest: Manifest, database: Path) -> None:
    with database.open("xb") as target:
        extract(archive, manifest.database, target)


def _check_database(manifest: Manifest, database: Path) -> tuple[list[str], tuple[str, ...]]:
    if manifest.database_kind == SQLITE:
        return check_sqlite(database, manifest), ()
    compare_rows(manifest, count_in_dump(database))
    rows = f"{manifest.rows:,} rows in {len(manifest.tables)} tables: as counted when it was made"
    return [rows], ("foreign keys: PostgreSQL proves them when the dump is restored",)


def check_sqlite(database: Path, manifest: Manifest) -> list[str]:
    """Integrity, foreign keys and rows of an unpacked SQLite file. Raises KeepingTrouble."""
    opened = sqlite3.connect(f"file:{database}?mode=ro", uri=True)
    try:
        said = opened.execute("PRAGMA integrity_check").fetchall()
        if said != [("ok",)]:
            raise KeepingTrouble(f"The database in this backup is damaged: {said[0][0]}.")
        broken = opened.execute("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise KeepingTrouble(f"{len(broken)} rows of the database point to rows that are not there: {broken[0]}.")
        compare_rows(manifest, count_sqlite(opened))
    except sqlite3.DatabaseError as error:
        raise KeepingTrouble(f"The database in this backup cannot be read: {error}.") from error
    finally:
        opened.close()
    return [
        "the database's own integrity check says ok, every foreign key holds",
        f"{manifest.rows:,} rows in {len(manifest.tables)} tables: as counted when it was made",
    ]


def compare_rows(manifest: Manifest, found: dict[str, int]) -> None:
    """Raises KeepingTrouble naming the first table whose rows are not those of the manifest."""
    for table, rows in manifest.tables.items():
        if found.get(table) != rows:
            raise KeepingTrouble(f"Table {table} has {found.get(table)} rows; {rows} were counted when it was made.")


def count_in_dump(database: Path) -> dict[str, int]:
    """Rows of every table in a PostgreSQL dump, read through its own program without a server."""
    command = [program("pg_restore"), "--data-only", "--file=-", str(database)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as reading:
        assert reading.stdout is not None
        assert reading.stderr is not None
        counted = _count_copied(reading.stdout)
        said = reading.stderr.read().decode(errors="replace")
    if reading.returncode != 0:
        raise KeepingTrouble(f"The database in this backup cannot be read. pg_restore said: {said.strip()[-600:]}")
    return dict.fromkeys(NOT_KEPT, 0) | counted


def _count_copied(lines: IO[bytes]) -> dict[str, int]:
    counted: dict[str, int] = {}
    table = ""
    for line in lines:
        if table:
            if line == b"\\.\n":
                table = ""
            else:
                counted[table] += 1
        elif begins := _COPY.match(line):
            table = begins[1].decode()
            counted[table] = 0
    return counted
