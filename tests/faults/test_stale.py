"""A worker stopped in the middle of a job comes back after another one has done it: its result is refused, nothing is
applied twice, and it goes on with the next job. See stale.py."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import own_postgres
from tests.faults.crews import ROOT, environment
from tests.faults.programs import PROFILES, answer_of
from tests.faults.stale import CASES, CHECK

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("name", PROFILES)
def test_a_stale_workers_late_result_is_refused(name: str, tmp_path: Path) -> None:
    found = answer_of("tests.faults.stale", name, tmp_path, "--profile", name)
    assert (found["failed"], found["open"]) == (0, 0), found
    checks = sum(kind == CHECK for kind, _step in CASES)
    assert found["checks written"] == [1] * (2 * checks), "one check by the other worker and one later, each"
    for kind, step in CASES:
        each = found["cases"][f"{kind} {step}"]
        plans = 0 if kind == CHECK else 1
        refused = each.pop("refused")
        assert each == {
            "stopped in hand": ["running", 1], "job": ["done", 2], "done by another": True, "untouched": True,
            "done times": 1, "plans by the other": plans, "plans later": plans, "goes on": True,
        }, (kind, step, each)  # fmt: skip
        assert refused == 1, (kind, step)


@pytest.mark.postgres
def test_who_stands_still_inside_a_transaction_does_not_keep_its_locks_for_ever(tmp_path: Path) -> None:
    """The server ends such a session by itself (PostgreSQL documentation, idle_in_transaction_session_timeout)."""
    ask = (
        "from django.db import connection; cursor = connection.cursor(); "
        "cursor.execute('SHOW idle_in_transaction_session_timeout'); print(cursor.fetchone()[0])"
    )
    with own_postgres() as url:
        done = subprocess.run(
            [sys.executable, "manage.py", "shell", "-v0", "-c", ask],
            cwd=ROOT, env=environment(tmp_path, DATABASE_URL=url), capture_output=True, text=True, check=True,
        )  # fmt: skip
    assert done.stdout.strip() == "2min"
