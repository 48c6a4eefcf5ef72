"""Re-planning after a failure, beside the two obvious ways: shift everything to the right, or plan all anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planning.schedule import solve
from planning.types import Plan, PlannedRun, Problem, Stop
from planning.verify import changes_in, violations
from tests.bench.plan.peers import Mended, after_failure, right_shift, total_late
from tests.bench.plan.report import FULL, SEEDS_FROM, held, processor_s, row
from tests.bench.plan.rooms import Size, school_room

pytestmark = pytest.mark.bench

FIRST_SEED = 8001 + SEEDS_FROM
FROZEN_MIN = 60
FAILURES = 20
PLANNED_S, REPLANNED_S = (3.0, 2.0) if FULL else (1.0, 1.0)
FIRST_ANSWER_S = 0.5
SIZES = (Size(5, 40, 1, 1, 1.5), Size(5, 40, 1, 1, 1.25), Size(12, 150, 1, 2, 1.0), Size(12, 150, 2, 1, 1.5))


def failing_run(problem: Problem, plan: Plan, seed: int) -> PlannedRun:
    """A run of the first two days, drawn, that is half-way through while staff are there."""
    random = np.random.default_rng(seed)
    early = [
        run
        for run in plan.runs
        if run.setup_start < problem.now + 1440 and problem.calendar.staff_at((run.start + run.end) // 2)
    ]
    return early[int(random.integers(len(early)))]


def moved_frozen(mended: Mended, plan: Plan) -> int:
    """Starts inside the frozen window that moved and were not released for a reason."""
    released = {note.plate_id for note in plan.released}
    moved = 0
    for plate in mended.problem.plates:
        start, run = plate.published_setup_start, plan.run_of(plate.id)
        if start is not None and start < mended.problem.now + FROZEN_MIN and plate.id not in released:
            moved += run is None or (run.printer_id, run.setup_start) != (plate.published_printer_id, start)
    return moved


def test_replanning_after_random_failures() -> None:
    totals = dict.fromkeys(("shift", "ours", "free"), 0)
    changes = dict.fromkeys(("shift", "ours", "free"), 0)
    moved, slowest = 0, 0.0
    for number in range(FAILURES):
        problem = school_room(SIZES[number % len(SIZES)], FIRST_SEED + number)
        plan = solve(problem, Stop(seconds=PLANNED_S), number)
        mended = after_failure(problem, plan, failing_run(problem, plan, number), FROZEN_MIN)
        late, moves = right_shift(mended)
        totals["shift"] += late
        changes["shift"] += moves
        first_s, _ = processor_s(lambda: solve(mended.problem, Stop(iterations=0), number, start_from=mended.in_force))  # noqa: B023
        slowest = max(slowest, first_s)
        ours = solve(mended.problem, Stop(seconds=REPLANNED_S), number, start_from=mended.in_force)
        assert violations(mended.problem, ours) == []
        moved += moved_frozen(mended, ours)
        rules = replace(mended.problem.rules, frozen_min=0, change_penalty=0)
        free_problem = replace(mended.problem, rules=rules)
        free = solve(free_problem, Stop(seconds=REPLANNED_S), number)
        for name, found in (("ours", ours), ("free", free)):
            totals[name] += total_late(mended.problem, found)
            changes[name] += changes_in(mended.problem, found.runs)
    ratio = totals["ours"] / max(1, totals["shift"])
    row(f"{FAILURES} failures, weighted tardiness beside right-shift", "<= 0.5", f"{ratio:.3f}", str(totals))
    share = changes["ours"] / max(1, changes["free"])
    row("changes beside free re-optimisation", "<= 0.5", f"{share:.3f}", str(changes))
    row("frozen starts moved", "0", str(moved))
    row("first answer, slowest", "< 0.5 s", f"{slowest:.3f} s")
    assert moved == 0
    held(ratio <= 0.5, "lateness after a failure")
    held(share <= 0.5, "changes after a failure")
    held(slowest < FIRST_ANSWER_S, "the first answer's time")
