"""Runs a program of these tests for a profile, with a folder and, for the distributed one, servers of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import own_postgres
from tests.faults.crews import ROOT, environment
from tests.faults.servers import own_redis

DISTRIBUTED = pytest.param("distributed", marks=[pytest.mark.postgres, pytest.mark.redis])
PROFILES = ["embedded", DISTRIBUTED]


@contextmanager
def profile(name: str, folder: Path) -> Iterator[dict[str, str]]:
    """The environment of the embedded profile, or of the distributed one with servers for it."""
    if name == "embedded":
        yield environment(folder)
        return
    with own_postgres() as url, own_redis(folder) as broker:
        yield environment(folder, DATABASE_URL=url, REDIS_URL=broker.url)


def answer_of(module: str, name: str, folder: Path, *arguments: object, seconds: float = 1500) -> dict[str, Any]:
    """What the program prints. It is ended only when it hangs."""
    with profile(name, folder) as values:
        done = subprocess.run(
            [sys.executable, "-m", module, *map(str, arguments)],
            cwd=ROOT, env=values, capture_output=True, text=True, timeout=seconds, check=False,
        )  # fmt: skip
    assert done.returncode == 0, done.stderr[-6000:]
    said: dict[str, Any] = json.loads(done.stdout)
    return said
