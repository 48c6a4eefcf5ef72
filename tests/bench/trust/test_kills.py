"""The full counts: 200 checks and 5 kills with several seeds, each step of a check and a plan, on both profiles.

Prints what was killed and how long the rest took after the last kill. Gates on lost, failed and written twice, never on
the clock. More seeds: MAKERLAB_TEST_SEEDS=10.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.faults.programs import PROFILES, answer_of
from tests.faults.test_kills import killed_at_each_step, many, nothing_lost_nothing_twice

pytestmark = [pytest.mark.bench, pytest.mark.slow]
JOBS, KILLS = 200, 5
SEEDS = range(1, 1 + int(os.environ.get("MAKERLAB_TEST_SEEDS", "1")))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", PROFILES)
def test_200_checks_5_kills(name: str, seed: int, tmp_path: Path) -> None:
    found = answer_of("tests.faults.kills", name, tmp_path, *many(name, JOBS, KILLS, seed))
    nothing_lost_nothing_twice(found, JOBS, KILLS)
    victims = ", ".join(f"{each['victim']} after {each['done']}" for each in found["kills"])
    print(f"\n{name} on {found['database']}, seed {seed}: {JOBS} checks, {KILLS} kills ({victims}):")
    print(f"  lost 0, written twice 0, tried again {found['tried again']}")
    load = os.getloadavg()[0]
    print(f"  all done {found['seconds after the last kill']} s after the last kill (load of the machine {load:.1f})")


@pytest.mark.parametrize("name", PROFILES)
def test_each_step(name: str, tmp_path: Path) -> None:
    found = answer_of("tests.faults.steps", name, tmp_path, "--profile", name)
    killed_at_each_step(found)
    print(f"\n{name}: killed at {len(found['killed'])} steps of a check and a plan; lost 0, written twice 0")
