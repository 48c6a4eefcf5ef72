"""The forecast: how fast, and whether a chance of three in four proves true three times in four."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, replace

import numpy as np
import pytest

from planning.failures import Tally, failure_rate, scaled
from planning.forecast import forecast
from planning.harm import most_harmful
from planning.help import Effort, what_would_help
from planning.schedule import solve
from planning.types import Kit, Plan, Problem, Risk, Stop
from tests.bench.plan.history import History
from tests.bench.plan.reliability import CAME_TRUE, KEEP, PLOT, TOLD, Point, keep
from tests.bench.plan.report import FULL, SEEDS_FROM, held, processor_s, row
from tests.bench.plan.rooms import LARGE, SMALL, Size, school_room

pytestmark = pytest.mark.bench

BELIEVED = Risk(fail_per_start=0.04, fail_per_hour=0.02, duration_spread=0.08)
RUNS_ON_RECORD = 200
FORECAST_S = 1.5
ROOMS, HISTORIES = (100, 40) if FULL else (40, 25)
COMMAND = (
    f"MAKERLAB_BENCH_KEEP=1 {'MAKERLAB_BENCH=full ' if FULL else ''}MAKERLAB_BENCH_SEED={SEEDS_FROM} "
    "pytest -m bench tests/bench/plan/test_chances.py -k calibration"
)


def test_speed() -> None:
    problem = school_room(LARGE[2], 9001)
    plan = solve(problem, Stop(seconds=1.0))
    forecast(problem, plan, BELIEVED, 10)
    seconds, _ = processor_s(lambda: forecast(problem, plan, BELIEVED, 2000))
    row("forecast, 2,000 samples at 30 x 400", "<= 1.5 s", f"{seconds:.2f} s")
    held(seconds <= FORECAST_S, "the time of 2,000 samples")
    small = school_room(SMALL[0], 9001)
    plan = solve(small, Stop(seconds=1.0))
    began = time.perf_counter()
    most_harmful(small, plan, BELIEVED)
    row("most harmful failure at 5 x 40", "(none)", f"{time.perf_counter() - began:.2f} s")
    helped = what_would_help(small, plan, BELIEVED, effort=Effort(seconds=20.0))
    row("what would help at 5 x 40", "<= 20 s", f"{helped.seconds:.2f} s", f"{len(helped.effects)} remedies")


@dataclass(frozen=True)
class Checked:
    """One meeting: the chance forecast for it, and in how many of its histories every kit was there."""

    chance: float
    good: int
    histories: int


def estimated(truth: Risk, random: np.random.Generator) -> Risk:
    """What a room learns from its runs on record, by ``planning.failures``: it never knows the truth."""
    hours = random.uniform(0.5, 5.0, RUNS_ON_RECORD)
    fails = 1 - (1 - truth.fail_per_start) * np.exp(-truth.fail_per_hour * hours)
    failed = random.random(RUNS_ON_RECORD) < fails
    own = Tally(RUNS_ON_RECORD, int(failed.sum()), float(hours[~failed].sum() + hours[failed].sum() / 2))
    return scaled(BELIEVED, failure_rate(own, (), BELIEVED).factor)


def with_slack(problem: Problem, plan: Plan, random: np.random.Generator) -> Problem:
    """The same kits in meetings of up to six, each due between an hour and two days after its last planned clearing: so
    that all chances from hopeless to certain occur."""
    ends: dict[str, int] = {}
    for run in plan.runs:
        for plate in problem.plates:
            if plate.id == run.plate_id:
                for kit_id in plate.kit_ids:
                    ends[kit_id] = max(ends.get(kit_id, 0), run.clear_end)
    kits: list[Kit] = []
    order = sorted((kit for kit in problem.kits if kit.id in ends), key=lambda kit: ends[kit.id])
    for first in range(0, len(order), 6):
        group = order[first : first + 6]
        due = max(ends[kit.id] for kit in group) + int(random.uniform(60, 2880))
        kits += [replace(kit, deadline_minute=due + first % 5) for kit in group]
    known = {kit.id: kit for kit in kits}
    return replace(problem, kits=tuple(known.get(kit.id, replace(kit, deadline_minute=None)) for kit in problem.kits))


def checked_meetings() -> list[Checked]:
    found = []
    for seed in range(ROOMS):
        random = np.random.default_rng(SEEDS_FROM + seed)
        drawn = school_room(Size(5, 30, 1, 1, 1.0), 9100 + SEEDS_FROM + seed)
        plan = solve(drawn, Stop(iterations=2000), seed)
        problem = with_slack(drawn, plan, random)
        factor = math.exp(random.normal(0, 0.4))
        truth = Risk(0.04 * factor, 0.02 * factor, 0.08)
        told = forecast(problem, plan, estimated(truth, random), 1000, seed)
        served = [History(problem, plan, truth, random).served() for _ in range(HISTORIES)]
        for meeting in told.deadlines:
            good = sum(
                all(minutes[kit_id] <= meeting.deadline_minute for kit_id in meeting.kit_ids) for minutes in served
            )
            found.append(Checked(meeting.chance_all, good, HISTORIES))
    return found


def test_calibration() -> None:
    meetings = checked_meetings()
    points = []
    for tenth in range(10):
        inside = [each for each in meetings if tenth / 10 <= each.chance < (tenth + 1) / 10 + (tenth == 9)]
        if not inside:
            continue
        share = sum(each.good for each in inside) / sum(each.histories for each in inside)
        mean = sum(each.chance for each in inside) / len(inside)
        points.append(Point(mean, share, len(inside)))
        asked = TOLD[0] <= tenth / 10 < TOLD[1]
        row(
            f"forecast {tenth / 10:.1f} to {(tenth + 1) / 10:.1f}: {len(inside)} meetings",
            f"{CAME_TRUE[0]} to {CAME_TRUE[1]}" if asked else "(none)",
            f"{share:.3f}",
            f"told {mean:.3f}",
        )
        assert not asked or CAME_TRUE[0] <= share <= CAME_TRUE[1]
    if KEEP:
        keep(points, ROOMS, HISTORIES, COMMAND)
        row("reliability plot", "", str(PLOT))
