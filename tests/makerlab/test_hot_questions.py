"""What is asked most looks its rows up by the index that was made for it, on PostgreSQL with some thousands of rows: an
index that is gone, or a question put so that it cannot be used, is seen here."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT, own_postgres

pytestmark = [pytest.mark.postgres, pytest.mark.slow]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, object]]:
    var: Path = tmp_path_factory.mktemp("var")
    with own_postgres() as url:
        environment = {**os.environ, "DATABASE_URL": url, "MAKERLAB_VAR": str(var)}
        environment["PYTHONPATH"] = f"{ROOT}{os.pathsep}{ROOT / 'queue'}"
        done = subprocess.run(
            [sys.executable, "-m", "tests.makerlab.hot_questions"],
            cwd=ROOT, env=environment, capture_output=True, text=True, timeout=600, check=False,
        )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found: dict[str, dict[str, object]] = json.loads(done.stdout.splitlines()[-1])
    return found


def test_each_looks_its_rows_up_by_the_index_meant_for_it(told):
    assert len(told) >= 15
    others = {
        name: found
        for name, found in told.items()
        if found["whole"] or not any(index.startswith(found["meant"]) for index in found["used"])
    }
    assert others == {}
