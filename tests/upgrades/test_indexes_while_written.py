"""Indexes built while others write: a migration that was cut off is done again, and one whose indexes an earlier form
of it has built finds nothing to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from tests.conftest import own_postgres
from tests.keeping.commands import manage

pytestmark = pytest.mark.slow
OLD, NEW = "work_job_state_b5b928_idx", "work_job_state_3b0768_idx"
SAID = "SELECT indisvalid, indisunique FROM pg_index WHERE indexrelid = to_regclass(%s)"
EXTRA = "CREATE INDEX work_job_state_b5b928_idx ON work_job (state, lane, priority, id)"


@pytest.fixture
def migrated(tmp_path: Path) -> Iterator[str]:
    with own_postgres() as url:
        migrate(tmp_path, url)
        yield url


def migrate(var: Path, url: str | None = None, *more: str) -> None:
    done = manage(["migrate", "-v0", *more], var, **({"DATABASE_URL": url} if url else {}))
    assert done.returncode == 0, done.stderr


@pytest.mark.postgres
def test_an_index_whose_building_was_cut_off_is_built_again(migrated, tmp_path):
    """The building breaks off at two equal rows of a unique index: PostgreSQL leaves the same as after a kill."""
    with psycopg.connect(migrated, autocommit=True) as database:
        database.execute("DELETE FROM django_migrations WHERE app = 'work' AND name = '0006_indexes_of_turns'")
        database.execute(f"DROP INDEX {NEW}")
        database.execute("INSERT INTO accounts_school (name, time_zone, created_at) VALUES ('a', 'UTC', now())")
        database.execute(
            "INSERT INTO work_job (kind, lane, subject, school_id, payload, priority, state, attempt, worker, "
            "progress, error, created_at) SELECT 'k', 'l', '', id, '{}', 0, 'done', 0, '', 0, '', now() "
            "FROM accounts_school, generate_series(1, 2)"
        )
        with pytest.raises(psycopg.errors.UniqueViolation):
            database.execute(f"CREATE UNIQUE INDEX CONCURRENTLY {NEW} ON work_job (state)")
        assert database.execute(SAID, [NEW]).fetchone() == (False, True)
        migrate(tmp_path, migrated)
        assert database.execute(SAID, [NEW]).fetchone() == (True, False)


@pytest.mark.postgres
def test_indexes_of_the_earlier_migration_are_left_as_they_are(migrated, tmp_path):
    """An installation that has the indexes already: nothing is built anew, and what is left of the old one goes."""
    with psycopg.connect(migrated, autocommit=True) as database:
        database.execute("DELETE FROM django_migrations WHERE app = 'work' AND name = '0006_indexes_of_turns'")
        database.execute(EXTRA)
        before = database.execute("SELECT to_regclass(%s)::oid", [NEW]).fetchone()
        migrate(tmp_path, migrated)
        assert database.execute("SELECT to_regclass(%s)::oid", [NEW]).fetchone() == before
        assert database.execute("SELECT to_regclass(%s)", [OLD]).fetchone() == (None,)
        migrate(tmp_path, migrated, "work", "0005")  # and back again
        assert database.execute("SELECT to_regclass(%s)", [NEW]).fetchone() == (None,)


def test_the_same_on_sqlite(tmp_path):
    migrate(tmp_path)
    database = sqlite3.connect(tmp_path / "makerlab.sqlite3")
    database.execute("DELETE FROM django_migrations WHERE app = 'work' AND name = '0006_indexes_of_turns'")
    database.execute(EXTRA)
    database.commit()
    migrate(tmp_path)
    names = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE tbl_name = 'work_job'")}
    database.close()
    assert NEW in names
    assert OLD not in names
