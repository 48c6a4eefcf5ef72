"""The same on PostgreSQL: its own dump on one snapshot, restored into an empty database; what is missing is told."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from tests.conftest import own_postgres
from tests.keeping.commands import manage

pytestmark = [pytest.mark.postgres, pytest.mark.slow]
SCHOOL = """
from django.core.files.base import ContentFile
from lessons.models import KitPart, LessonPlan
from makerlab.accounts.models import School
school = School.objects.create(name="Alderwick School")
plan = LessonPlan.objects.create(school=school, title="t", summary="s", grade_band="6-8")
part = KitPart(plan=plan, code="wheel", name="a\\\\.b\\nc", file_name="wheel.stl", sha256="0" * 64)
part.file.save("", ContentFile(b"solid"))
"""


@pytest.fixture(scope="module")
def source() -> Iterator[str]:
    with own_postgres() as url:
        yield url


@pytest.fixture(scope="module")
def made(source: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    var = tmp_path_factory.mktemp("var")
    for command in (["migrate", "-v0"], ["shell", "-v0", "-c", SCHOOL], ["backup"]):
        done = manage(command, var, DATABASE_URL=source)
        assert done.returncode == 0, done.stderr
    (path,) = (var / "backups").iterdir()
    return path


def test_a_dump_is_proved_and_restored_into_an_empty_database(made, tmp_path):
    with own_postgres() as target:
        done = manage(["restore", "--check", str(made)], tmp_path / "new", DATABASE_URL=target)
        assert "every foreign key held" in done.stdout, done.stderr
        done = manage(["restore", str(made)], tmp_path / "new", DATABASE_URL=target)
        assert done.returncode == 0, done.stderr
        with psycopg.connect(target) as database:
            row = database.execute("SELECT name, file FROM lessons_kitpart").fetchone()
        assert row is not None
        assert (tmp_path / "new" / "media" / row[1]).read_bytes() == b"solid"
        done = manage(["restore", str(made)], tmp_path / "again", DATABASE_URL=target)
        assert "overwrites nothing" in done.stderr
        assert not (tmp_path / "again" / "media").exists()


def test_a_dump_does_not_go_into_sqlite(made, tmp_path):
    done = manage(["restore", str(made)], tmp_path / "new")
    assert "backup of a PostgreSQL database" in done.stderr
    assert "Traceback" not in done.stderr


def test_without_pg_dump_it_is_told(source, tmp_path):
    done = manage(["backup"], tmp_path / "var", DATABASE_URL=source, PATH=os.devnull)
    assert done.returncode == 1
    assert "pg_dump is not installed" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_server_that_is_away_is_told(tmp_path):
    done = manage(["backup"], tmp_path / "var", DATABASE_URL="postgres://nobody@127.0.0.1:1/none")
    assert done.returncode == 1
    assert "The database server is not reached" in done.stderr
    assert "Traceback" not in done.stderr
