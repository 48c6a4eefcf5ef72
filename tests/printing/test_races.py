"""One winner of twenty, the others told in words, nothing broken. The race itself is tests/printing/race.py."""

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


@pytest.fixture(scope="module", params=["SQLite", pytest.param("PostgreSQL", marks=pytest.mark.postgres)])
def raced(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    with own_postgres() if request.param == "PostgreSQL" else nullcontext() as url:
        yield run_race(tmp_path_factory, url)


def run_race(tmp_path_factory: pytest.TempPathFactory, url: str | None) -> dict[str, Any]:
    environment = {
        **os.environ,
        "MAKERLAB_VAR": str(tmp_path_factory.mktemp("var")),
        "DJANGO_SETTINGS_MODULE": "makerlab.settings",
        "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "queue")]),
    }
    environment.pop("DATABASE_URL", None)
    if url is not None:
        environment["DATABASE_URL"] = url
    done = subprocess.run(
        [sys.executable, "-m", "tests.printing.race"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def told(outcomes: dict[str, int]) -> int:
    return sum(count for words, count in outcomes.items() if words.startswith("told: "))


@pytest.mark.parametrize("verb", ["move", "start", "clear", "loads"])
def test_one_of_twenty_wins_and_nineteen_are_told(raced, verb):
    assert raced[verb].get("won") == 1, raced[verb]
    assert told(raced[verb]) == 19, raced[verb]


def test_one_run_for_one_plate(raced):
    assert raced["runs"] == 1


def test_a_busy_printer_takes_no_second_plate(raced):
    assert told(raced["second plate on the busy printer"]) == 20


def test_a_cleared_plate_counts_once(raced):
    assert raced["results"] == 4
    expected = {"finished": (["in_tray"], 556.0), "failed": (["waiting"], None)}[raced["run outcome"]]
    assert raced["copy states"] == expected[0]
    if expected[1] is not None:
        assert raced["spool_g"] == expected[1]


def test_a_kit_is_ordered_once_however_often_it_is_approved(raced):
    assert raced["order"] == {"won": 20}
    assert raced["requests"] == 4, "wheel and chassis for two teams"


def test_one_spool_a_printer(raced):
    assert raced["spools on Heron"] == 1
