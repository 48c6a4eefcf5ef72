"""kill -9 of workers in the middle of many checks: none lost, none written twice. See kills.py; the full count and more
seeds are in tests/bench/trust."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.faults import steps
from tests.faults.programs import PROFILES, answer_of

pytestmark = pytest.mark.slow
JOBS, KILLS = 40, 2


def many(profile: str, jobs: int, kills: int, seed: int) -> tuple[object, ...]:
    return "--profile", profile, "--jobs", jobs, "--kills", kills, "--seed", seed


def nothing_lost_nothing_twice(found: dict[str, Any], jobs: int, kills: int) -> None:
    assert found["jobs"] == jobs
    assert len(found["kills"]) == kills
    assert all(each["killed"] for each in found["kills"]), "somebody must have been there to be killed"
    assert (found["lost"], found["failed"]) == ([], 0), found
    assert (found["twice"], found["done twice"]) == ([], []), found
    assert found["wrong volume"] == [], "each result stands with its own file"


@pytest.mark.parametrize("name", PROFILES)
def test_kills_at_random_lose_no_check_and_write_none_twice(name: str, tmp_path: Path) -> None:
    found = answer_of("tests.faults.kills", name, tmp_path, *many(name, JOBS, KILLS, 9))
    nothing_lost_nothing_twice(found, JOBS, KILLS)
    assert found["tried again"] > 0, "no kill hit a check in hand"


def killed_at_each_step(found: dict[str, Any]) -> None:
    assert found["all done"]
    assert found["failed"] == 0
    assert len(found["killed"]) == 2 * len(steps.STEPS)
    for step, each in found["killed"].items():
        committed = step.endswith("committed")
        # waiting: a sweeper has found it already
        assert each.pop("left") in ({"done"} if committed else {"running", "waiting"}), step
        assert each == {"attempts": 1 if committed else 2, "done times": 1}, step
    assert found["checks written"] == [1] * len(steps.STEPS)
    assert found["plans written"] == len(steps.STEPS)
    assert found["copies"] == found["planned copies"] == 10


def test_killed_at_each_step_of_a_check_and_of_a_plan(tmp_path: Path) -> None:
    killed_at_each_step(answer_of("tests.faults.steps", "embedded", tmp_path, "--profile", "embedded"))
