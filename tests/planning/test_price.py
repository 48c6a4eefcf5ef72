"""What a moved start costs, and that the engine moves none that does not pay for itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planning.price import CHANGE_WORTH_MIN, change_penalty, priced
from planning.schedule import solve
from planning.types import Kit, Plan, Problem, Stop
from planning.verify import changes_in, evaluate, violations
from tests.planning.rooms import random_room


def test_the_price_is_in_the_weights_of_the_room() -> None:
    """The mean weight of those that are due and weigh anything; a room without any counts plain minutes."""
    assert change_penalty(()) == CHANGE_WORTH_MIN
    kits = (Kit("k", 900, 2), Kit("l", 900, 5), Kit("open", None, 99), Kit("nobody", 900, 0))
    assert change_penalty(kits) == round(3.5 * CHANGE_WORTH_MIN)
    doubled = tuple(replace(kit, weight=2 * kit.weight) for kit in kits)
    assert change_penalty(doubled) == 2 * change_penalty(kits)


def shown(problem: Problem, plan: Plan) -> Problem:
    """The same room after the plan was published."""
    runs = {run.plate_id: run for run in plan.runs}
    plates = tuple(
        replace(
            plate,
            published_printer_id=runs[plate.id].printer_id,
            published_setup_start=runs[plate.id].setup_start,
        )
        if plate.id in runs
        else plate
        for plate in problem.plates
    )
    return replace(problem, plates=plates)


@pytest.mark.parametrize("seed", range(12))
def test_every_start_moved_saves_its_price(seed: int) -> None:
    """What is saved over the plan that was shown is at least the price of every start moved within the hours that are
    published."""
    problem = random_room(seed)
    before = solve(problem, Stop(iterations=5, prove=False))
    room = priced(shown(problem, before))
    if violations(room, replace(before, changes=0)):
        pytest.skip("what was shown does not hold any more")
    after = solve(room, Stop(iterations=2000, prove=False), seed, start_from=before)
    saved = evaluate(room, before).weighted_tardiness - evaluate(room, after).weighted_tardiness
    assert saved >= room.rules.change_penalty * changes_in(room, after.runs)
