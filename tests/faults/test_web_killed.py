"""kill -9 of the web server at each step of an upload: no half of it counts, and the student can upload again."""

from __future__ import annotations

import hashlib
import http.client
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.crews import ROOT
from tests.faults.dying_web import COMMITTED, STORED, WRITTEN
from tests.faults.programs import PROFILES, profile
from tests.faults.running import Site, site
from tests.meshcheck.badfiles import binary_stl, cube_corners

pytestmark = pytest.mark.slow
# 3 MB (bytes after the last triangle are no error): Django keeps files of more than 2 MB in its own temporary folder
LARGE = binary_stl(cube_corners(21.0)) + b"\0" * 3_000_000
TIDY = """
from datetime import timedelta
from django.utils import timezone
from makerlab.keeping.strays import forget_strays
print(len(forget_strays(timezone.now() + timedelta(days=1, minutes=1))))
"""


@pytest.fixture(scope="module", params=PROFILES)
def running(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """On SQLite, and on PostgreSQL with Redis."""
    folder = tmp_path_factory.mktemp("killed")
    (folder / "temporary").mkdir()
    with profile(request.param, folder) as values, site({**values, "TMPDIR": str(folder / "temporary")}) as made:
        yield made


def nothing_counts(running: Site, before: int) -> None:
    assert running.count("submissions_submission") == before
    assert running.count("work_job") == before
    assert running.count("audit_event WHERE verb = 'upload'") == before


def killed_at(running: Site, step: str, content: bytes) -> None:
    with pytest.raises((OSError, http.client.HTTPException)):
        running.upload(content, step)
    running.kill()
    running.start(dying=True)


def killed_when_half_of_it_has_come(running: Site) -> None:
    running.start(dying=True)
    with running.begin_upload(LARGE):
        time.sleep(0.5)
        running.kill()
    running.start(dying=True)
    nothing_counts(running, 0)
    assert running.stored() == []
    assert running.upload(LARGE).status == 302
    nothing_counts(running, 1)


def killed_before_it_counts(running: Site, step: str, side: float) -> None:
    content = binary_stl(cube_corners(side))
    before, files = running.count("submissions_submission"), len(running.stored())
    killed_at(running, step, content)
    nothing_counts(running, before)
    assert len(running.stored()) == files + 1, "the file is there and nobody's"
    assert running.upload(content).status == 302
    nothing_counts(running, before + 1)


def killed_when_it_counts_but_nobody_was_told(running: Site) -> None:
    content = binary_stl(cube_corners(24.0))
    before = running.count("submissions_submission")
    killed_at(running, COMMITTED, content)
    nothing_counts(running, before + 1)
    again = running.upload(content)
    newest = running.ask_database("SELECT MAX(id) FROM submissions_submission")[0][0]
    assert (again.status, f"/{newest}/" in again.headers["Location"]) == (302, True), "led to the one that is there"
    nothing_counts(running, before + 1)


def a_day_later_only_what_counts_is_there(running: Site) -> None:
    tidied = [sys.executable, "manage.py", "shell", "-v0", "-c", TIDY]
    done = subprocess.run(tidied, cwd=ROOT, env=running.values, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "2"
    digests = {str(row[0]) for row in running.ask_database("SELECT sha256 FROM submissions_submission")}
    assert {hashlib.sha256(path.read_bytes()).hexdigest() for path in running.stored()} == digests
    assert list(Path(running.values["TMPDIR"]).iterdir()) == [], "nothing is left among the temporary files either"


def test_killed_at_each_step_of_an_upload(running: Site) -> None:
    """One site lives through all of it: the steps follow each other."""
    killed_when_half_of_it_has_come(running)
    killed_before_it_counts(running, STORED, 22.0)
    killed_before_it_counts(running, WRITTEN, 23.0)
    killed_when_it_counts_but_nobody_was_told(running)
    a_day_later_only_what_counts_is_there(running)
