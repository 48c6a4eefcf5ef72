"""Ten of ten: every backup made while eight write can be restored and is one moment. See under_load.py."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import own_postgres

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module", params=["SQLite", pytest.param("PostgreSQL", marks=pytest.mark.postgres)])
def found(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    environment = {
        **os.environ,
        "MAKERLAB_VAR": str(tmp_path_factory.mktemp("var")),
        "DJANGO_SETTINGS_MODULE": "makerlab.settings",
        "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "queue"), *sys.path[1:]]),
    }
    environment.pop("DATABASE_URL", None)
    with own_postgres() if request.param == "PostgreSQL" else nullcontext() as url:
        if url is not None:
            environment["DATABASE_URL"] = url
        done = subprocess.run(
            [sys.executable, "-m", "tests.keeping.under_load"],
            cwd=ROOT, env=environment, capture_output=True, text=True, timeout=1200, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        said: dict[str, Any] = json.loads(done.stdout)
        yield said | {"database": request.param}


def test_ten_of_ten_are_restored(found):
    assert len(found["rounds"]) == 10
    written = sum(one["written meanwhile"] for one in found["rounds"])
    print(f"\n{found['database']}: 10 of 10 backups proved and restored while {written} rows were written")
    if found["database"] == "SQLite":
        assert [one["wrong files"] for one in found["rounds"]] == [0] * 10
    else:
        assert all("every foreign key held" in one["proved"] for one in found["rounds"])


def test_nothing_was_missing_and_nobody_was_stopped(found):
    assert found["trouble"] == []
    assert [one["missing"] for one in found["rounds"]] == [0] * 10
    assert all(one["written meanwhile"] > 0 for one in found["rounds"]), "the writers must have been at work"


def test_each_is_one_moment(found):
    rows = [one["rows"] for one in found["rounds"]]
    assert rows == sorted(rows)
    assert rows[-1] > rows[0]
    for one in found["rounds"]:
        assert one.get("uploads") == one.get("events"), one
