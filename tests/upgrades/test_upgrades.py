"""Every released version's school comes up to this release with nothing lost: by restore, and by upgrade in place."""

from __future__ import annotations

import sqlite3
import zipfile
from pathlib import Path

import pytest

from makerlab.keeping.manifest import Manifest, read_manifest
from makerlab.keeping.schema import known_migrations
from tests.keeping.commands import manage

RELEASED = sorted(Path(__file__).parent.glob("*.backup.zip"))
# Rows Django itself writes for the release: they grow with it.
OF_THE_RELEASE = {"django_migrations", "django_content_type", "auth_permission"}
pytestmark = pytest.mark.slow


def manifest_of(path: Path) -> Manifest:
    with zipfile.ZipFile(path) as archive:
        return read_manifest(archive.read("manifest.json"))


def look(var: Path, query: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(var / "makerlab.sqlite3") as database:
        found = database.execute(query).fetchall()
    database.close()
    return found


def is_at_this_release(var: Path) -> bool:
    applied = {f"{app}.{name}" for app, name in look(var, "SELECT app, name FROM django_migrations")}
    return known_migrations() <= applied


def test_there_is_a_fixture():
    assert "0.1.0.backup.zip" in {path.name for path in RELEASED}


@pytest.mark.parametrize("released", RELEASED, ids=lambda path: path.name.removesuffix(".backup.zip"))
def test_a_released_versions_school_comes_up_with_nothing_lost(released, tmp_path):
    done = manage(["restore", str(released)], tmp_path / "school")
    assert done.returncode == 0, done.stderr
    assert is_at_this_release(tmp_path / "school")
    manifest = manifest_of(released)
    tables = {name for (name,) in look(tmp_path / "school", "SELECT name FROM sqlite_master WHERE type = 'table'")}
    for table in sorted(tables & manifest.tables.keys() - OF_THE_RELEASE):
        rows = look(tmp_path / "school", f'SELECT COUNT(*) FROM "{table}"')[0][0]
        assert rows >= manifest.tables[table], f"{table}: rows were lost on the way"
    assert look(tmp_path / "school", "PRAGMA foreign_key_check") == []
    assert look(tmp_path / "school", "SELECT display_name FROM accounts_user WHERE role = 'teacher'")
    for member in manifest.files:
        assert (tmp_path / "school" / member.name).stat().st_size == member.bytes


def test_upgrade_in_place_makes_a_backup_first_which_brings_the_old_one_back(tmp_path):
    """The database is taken back some steps, as an older release would have left it, and upgraded."""
    var = tmp_path / "school"
    assert manage(["restore", str(RELEASED[0])], var).returncode == 0
    for app, number in (("printing", "0005"), ("lessons", "0008")):  # before the table of lesson files came
        back = manage(["migrate", app, number, "-v0"], var)
        assert back.returncode == 0, back.stderr
    done = manage(["upgrade"], var)
    assert done.returncode == 0, done.stderr
    assert "Backup made and proved" in done.stdout
    assert is_at_this_release(var)
    (before,) = (var / "backups").iterdir()
    assert "printing.0006_written_permission" not in manifest_of(before).migrations
    again = manage(["upgrade"], var)
    assert "nothing to do" in again.stdout
    assert len(list((var / "backups").iterdir())) == 1
    assert manage(["restore", str(before)], tmp_path / "undone").returncode == 0
    assert is_at_this_release(tmp_path / "undone")


def test_upgrade_of_an_empty_place_makes_the_database(tmp_path):
    done = manage(["upgrade"], tmp_path / "new")
    assert done.returncode == 0, done.stderr
    assert is_at_this_release(tmp_path / "new")
    assert not (tmp_path / "new" / "backups").exists()
