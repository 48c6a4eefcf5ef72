"""The house stands as DESIGN says: queue/ must never hide the standard library's queue."""

from __future__ import annotations

import queue
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STANDARD_LIBRARY = Path(sysconfig.get_path("stdlib")).resolve()
SAY_WHERE = "import queue; print(queue.__file__)"


def test_queue_is_the_standard_library_under_pytest():
    assert Path(queue.__file__).resolve().parent == STANDARD_LIBRARY


def test_no_file_lies_directly_in_the_queue_folder():
    assert [path.name for path in (ROOT / "queue").iterdir() if path.is_file()] == []


@pytest.mark.parametrize(
    "command",
    [
        [sys.executable, "manage.py", "shell", "-v0", "-c", SAY_WHERE],
        [sys.executable, "-c", f"import celery, makerlab.celery; {SAY_WHERE}"],
    ],
    ids=["manage.py", "celery"],
)
def test_queue_is_the_standard_library_elsewhere(command):
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert Path(done.stdout.strip().splitlines()[-1]).resolve().parent == STANDARD_LIBRARY
