"""The shared world with an experiment and a rubric in its plan."""

from __future__ import annotations

import pytest

from tests.lessons.lab.test_experiment import GOOD
from tests.world import World


@pytest.fixture
def lab(world: World) -> World:
    world.plan.content = {"experiment": GOOD, "rubric": [{"row": "data", "levels": ["a", "b", "c", "d"]}]}
    world.plan.save()
    world.assignment.refresh_from_db()
    return world
