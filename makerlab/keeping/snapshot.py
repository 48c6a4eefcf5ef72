"""One moment of the database, taken while everybody works: the database by its own means, rows counted, files named.

SQLite: the online backup interface (sqlite.org/backup.html). PostgreSQL: pg_dump on an exported snapshot, so that the
counted rows and the dump are of one moment (postgresql.org/docs, "Synchronization Snapshots").
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
from django.db import connection
from psycopg import sql
from psycopg.conninfo import make_conninfo

from makerlab.keeping.named import Fetch, file_columns, files_named
from makerlab.keeping.trouble import KeepingTrouble, not_reached

SQLITE, POSTGRES = "sqlite", "postgresql"
# who is signed in is nothing to keep: a backup must not let an old session in again
NOT_KEPT = ("django_session",)


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The database at one moment. ``files`` are the paths its rows name in the store; ``write()`` gives the file
    that holds it, and may take as long as it likes."""

    kind: str
    tables: dict[str, int]
    files: frozenset[str]
    migrations: tuple[str, ...]
    write: Callable[[], Path]


def take_snapshot(path: Path, stack: ExitStack) -> Snapshot:
    """One moment of the database, to be written to ``path`` while ``stack`` is open. Nobody has to stop working.
    Raises KeepingTrouble."""
    return _of_sqlite(path) if connection.vendor == SQLITE else _of_postgres(path, stack)


@contextmanager
def writers_wait() -> Iterator[None]:
    """Rows that name files cannot change inside the block: writers wait for it, readers do not. Keep it short."""
    if connection.vendor != SQLITE:
        tables = sql.SQL(", ").join(sql.Identifier(table) for table in sorted({table for table, _ in file_columns()}))
        with connect_postgres() as database:
            database.execute(sql.SQL("LOCK TABLE {} IN SHARE MODE").format(tables))
            yield
            database.rollback()
    elif "mode=memory" in str(connection.settings_dict["NAME"]):
        yield  # nobody else can write to it
    else:
        with closing(sqlite3.connect(connection.settings_dict["NAME"], timeout=20, isolation_level=None)) as database:
            database.execute("BEGIN IMMEDIATE")
            yield
            database.execute("ROLLBACK")


def _migrations(fetch: Fetch) -> tuple[str, ...]:
    return tuple(f"{app}.{name}" for app, name in fetch("SELECT app, name FROM django_migrations ORDER BY id"))


def count_sqlite(database: sqlite3.Connection) -> dict[str, int]:
    """Rows of every table."""
    names = database.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    return {name: database.execute(f'SELECT COUNT(*) FROM "{name}"').fetchone()[0] for (name,) in names.fetchall()}


def _of_sqlite(path: Path) -> Snapshot:
    connection.ensure_connection()
    copy = sqlite3.connect(path, isolation_level=None)
    os.chmod(path, 0o600)
    try:
        connection.connection.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        copy.execute("PRAGMA secure_delete=ON")
        for table in NOT_KEPT:
            copy.execute(f'DELETE FROM "{table}"')

        def fetch(query: str) -> list[tuple[Any, ...]]:
            return copy.execute(query).fetchall()

        return Snapshot(SQLITE, count_sqlite(copy), frozenset(files_named(fetch)), _migrations(fetch), lambda: path)
    except sqlite3.DatabaseError as error:
        if "full" in str(error):
            raise KeepingTrouble("Copying the database did not work: the disk is full. Make room there.") from error
        raise KeepingTrouble(f"The database could not be copied: {error}.") from error
    finally:
        copy.close()


def program(name: str) -> str:
    """Path of one of PostgreSQL's own programs. Raises KeepingTrouble when it is not installed."""
    found = shutil.which(name)
    if found is None:
        raise KeepingTrouble(
            f"{name} is not installed here. It comes with PostgreSQL's client programs (on Debian: "
            "apt install postgresql-client) and must not be older than the server."
        )
    return found


def postgres_address(database: str | None = None) -> tuple[str, dict[str, str]]:
    """How libpq reaches the database, without the password, and the environment that holds it."""
    given = connection.settings_dict
    keys = ("sslmode", "sslrootcert", "sslcert", "sslkey", "service", "passfile", "options", "target_session_attrs")
    options = {key: value for key, value in given.get("OPTIONS", {}).items() if key in keys}
    address = make_conninfo(
        "", dbname=database or given["NAME"], user=given["USER"] or None, host=given["HOST"] or None,
        port=given["PORT"] or None, connect_timeout=10, **options,
    )  # fmt: skip
    environment = dict(os.environ)
    if given["PASSWORD"]:
        environment["PGPASSWORD"] = given["PASSWORD"]
    return address, environment


def connect_postgres(database: str | None = None, **options: Any) -> psycopg.Connection[tuple[Any, ...]]:
    """A connection of its own beside Django's. Raises KeepingTrouble when the server is not reached."""
    address, _environment = postgres_address(database)
    try:
        return psycopg.connect(address, password=connection.settings_dict["PASSWORD"] or None, **options)
    except psycopg.OperationalError as error:
        raise not_reached(str(error).strip()) from error


def count_postgres(database: psycopg.Connection[tuple[Any, ...]]) -> dict[str, int]:
    """Rows of every table of the current schema; of those whose rows are not kept, none."""
    names = database.execute("SELECT tablename FROM pg_tables WHERE schemaname = current_schema() ORDER BY 1")
    counted = {}
    for (name,) in names.fetchall():
        row = database.execute(sql.SQL("SELECT COUNT(*) FROM {}").format(sql.Identifier(name))).fetchone()
        counted[name] = 0 if name in NOT_KEPT or row is None else int(row[0])
    return counted


def run_program(command: list[str], environment: dict[str, str], what: str) -> None:
    """Run one of PostgreSQL's programs. Raises KeepingTrouble with what it said."""
    done = subprocess.run(command, env=environment, capture_output=True, text=True, errors="replace", check=False)
    if done.returncode != 0:
        raise KeepingTrouble(f"{what} did not work. {Path(command[0]).name} said: {done.stderr.strip()[-600:]}")


def _of_postgres(path: Path, stack: ExitStack) -> Snapshot:
    pg_dump = program("pg_dump")
    address, environment = postgres_address()
    database = stack.enter_context(connect_postgres())
    database.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
    database.read_only = True

    def fetch(query: str) -> list[tuple[Any, ...]]:
        return database.execute(query).fetchall()

    exported = fetch("SELECT pg_export_snapshot()")[0][0]

    def dump() -> Path:
        os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
        left_out = [f"--exclude-table-data={table}" for table in NOT_KEPT]
        run_program(
            [pg_dump, "--format=custom", "--no-owner", "--no-privileges", f"--snapshot={exported}", *left_out,
             f"--file={path}", f"--dbname={address}"],
            environment, "Copying the database",
        )  # fmt: skip
        return path

    return Snapshot(POSTGRES, count_postgres(database), frozenset(files_named(fetch)), _migrations(fetch), dump)
