"""How sure a plan is: it is played many times with failures and longer prints (planning.forecast)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from planning.forecast import play
from planning.types import Plan, Problem, Risk
from printing.models import Run
from printing.states import Outcome

# Assumed until the room's own runs say otherwise: 8 of 100 two-hour prints fail, minutes spread by 8 %. No source for a
# school's room; an open studio counted 41 of 100 (Procedia CIRP, 28th CIRP Design Conference, abstract).
ASSUMED = Risk(fail_per_start=0.04, fail_per_hour=0.02, duration_spread=0.08)
WORTH_FAILURES = 5.0  # the assumption counts as much as five failures on record
SAMPLES = 2000
SEED = 11


@dataclass(frozen=True)
class Chances:
    """Shares of the played courses, 0 to 1; moments as aware datetimes, None when beyond the calendar.

    ``kit`` by kit id; ``group`` by the first part of the kit id, the assignment: that every team of it has everything.
    """

    everything: float | None
    kit: dict[str, float]
    group: dict[str, float]
    likely_at: dict[str, datetime | None]
    nearly_sure_at: dict[str, datetime | None]


def risk_of(room_id: int) -> Risk:
    """The assumption, scaled by what the room's own runs say about it: failures on record over those expected."""
    expected = failed = 0.0
    for outcome, estimate_s in Run.objects.filter(plate__room_id=room_id).values_list("outcome", "estimate_s"):
        if outcome == Outcome.RUNNING:
            continue
        expected += ASSUMED.fail_per_start + ASSUMED.fail_per_hour * estimate_s / 3600
        failed += outcome == Outcome.FAILED
    factor = (failed + WORTH_FAILURES) / (expected + WORTH_FAILURES)
    return Risk(
        fail_per_start=min(1.0, ASSUMED.fail_per_start * factor),
        fail_per_hour=ASSUMED.fail_per_hour * factor,
        duration_spread=ASSUMED.duration_spread,
    )


def chances_of(problem: Problem, plan: Plan, risk: Risk, samples: int = SAMPLES) -> Chances:
    """Play the plan. A kit that the plan leaves out is never served."""
    courses = play(problem, plan, risk, samples, SEED)
    deadlines = {kit.id: kit.deadline_minute for kit in problem.kits}
    kept: dict[str, NDArray[np.bool_]] = {}
    likely: dict[str, datetime | None] = {}
    nearly_sure: dict[str, datetime | None] = {}
    for column, kit_id in enumerate(courses.kit_ids):
        minutes = courses.kit_min[:, column]
        likely[kit_id] = _moment(problem, minutes, 0.5)
        nearly_sure[kit_id] = _moment(problem, minutes, 0.9)
        deadline = deadlines[kit_id]
        if deadline is not None:
            kept[kit_id] = minutes <= deadline
    groups: dict[str, list[NDArray[np.bool_]]] = {}
    for kit_id, in_time in kept.items():
        groups.setdefault(kit_id.partition(":")[0], []).append(in_time)
    return Chances(
        everything=float(np.logical_and.reduce(list(kept.values())).mean()) if kept else None,
        kit={kit_id: float(in_time.mean()) for kit_id, in_time in kept.items()},
        group={group: float(np.logical_and.reduce(found).mean()) for group, found in groups.items()},
        likely_at=likely,
        nearly_sure_at=nearly_sure,
    )


def _moment(problem: Problem, minutes: NDArray[np.int64], share: float) -> datetime | None:
    at = int(np.sort(minutes)[int(np.ceil(share * len(minutes))) - 1])
    return None if not 0 <= at < problem.calendar.end else problem.calendar.to_datetime(at)
