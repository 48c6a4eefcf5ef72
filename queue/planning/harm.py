"""Which single failure would hurt most: the plan played with the first attempt at one plate lost for certain."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planning.forecast import Courses, play
from planning.types import Plan, Problem, Risk

# To find the candidates, every plate is let fail in a fifth of the courses at least.
SCREEN_FAILS = 0.2
# So many times the number asked for are looked at closely.
CANDIDATES = 3


@dataclass(frozen=True, slots=True)
class Outlook:
    """Of the kits looked at: the chance that all are served in time, how many to expect, and the weighted minutes of
    lateness to expect."""

    chance_all: float
    expected_kits: float
    weighted_tardiness: float


@dataclass(frozen=True, slots=True)
class HarmfulFailure:
    """What the loss of the first attempt at a plate would do. ``fail_chance`` is how likely that loss is; ``before`` is
    the outlook with failures as they may come, ``after`` with this one for certain. ``hurt_kit_ids``: kits whose chance
    falls by a tenth or more, worst first."""

    plate_id: str
    printer_id: str
    setup_start: int
    fail_chance: float
    before: Outlook
    after: Outlook
    hurt_kit_ids: tuple[str, ...]


def outlook_of(problem: Problem, courses: Courses, kit_ids: Collection[str] | None = None) -> Outlook:
    """The outlook of the kits named (None: of all); kits without a deadline are never late."""
    minutes, deadline, weight, _ids = _wanted(problem, courses, kit_ids)
    if not len(deadline):
        return Outlook(1.0, 0.0, 0.0)
    in_time = minutes <= deadline
    late = np.maximum(0, minutes - deadline) @ weight
    return Outlook(float(in_time.all(axis=1).mean()), float(in_time.sum(axis=1).mean()), float(late.mean()))


def most_harmful(
    problem: Problem,
    plan: Plan,
    risk: Risk | Mapping[str, Risk],
    kit_ids: Collection[str] | None = None,
    top: int = 3,
    samples: int = 1000,
    seed: int = 0,
) -> tuple[HarmfulFailure, ...]:
    """The ``top`` failures that would cost most of the kits named (None: of all), worst first: most kits in time lost,
    then most weighted minutes. Failures that cost nothing are left out. Staff go on by the plan; nothing is re-planned.

    Candidates come from one forecast in which everything fails more often; each is then played with the same luck as
    the plan itself.
    """
    placed = {run.plate_id: run for run in plan.runs}
    base = play(problem, plan, risk, samples, seed)
    before = outlook_of(problem, base, kit_ids)
    found = []
    for plate_id in _candidates(problem, plan, risk, kit_ids, top * CANDIDATES, samples, seed):
        courses = play(problem, plan, risk, samples, seed, fails_first=(plate_id,))
        after = outlook_of(problem, courses, kit_ids)
        if after.expected_kits >= before.expected_kits and after.weighted_tardiness <= before.weighted_tardiness:
            continue
        run = placed[plate_id]
        fails = float(base.failed_first[:, base.plate_ids.index(plate_id)].mean())
        hurt = _hurt(problem, base, courses, kit_ids)
        found.append(HarmfulFailure(plate_id, run.printer_id, run.setup_start, fails, before, after, hurt))
    found.sort(key=lambda each: (each.after.expected_kits, -each.after.weighted_tardiness, each.plate_id))
    return tuple(found[:top])


def _wanted(
    problem: Problem, courses: Courses, kit_ids: Collection[str] | None
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], list[str]]:
    """Minutes served (samples, wanted), deadlines and weights (wanted,) and ids of the kits that can be late."""
    kits = {kit.id: kit for kit in problem.kits}
    columns, deadlines, weights, ids = [], [], [], []
    for column, kit_id in enumerate(courses.kit_ids):
        deadline = kits[kit_id].deadline_minute
        if deadline is not None and (kit_ids is None or kit_id in kit_ids):
            columns.append(column)
            deadlines.append(deadline)
            weights.append(kits[kit_id].weight)
            ids.append(kit_id)
    return courses.kit_min[:, columns], np.array(deadlines, np.int64), np.array(weights, np.int64), ids


def _candidates(
    problem: Problem,
    plan: Plan,
    risk: Risk | Mapping[str, Risk],
    kit_ids: Collection[str] | None,
    count: int,
    samples: int,
    seed: int,
) -> list[str]:
    """The plates whose failures go with most kits lost, when everything fails more often."""
    rough = {}
    for plate in problem.plates:
        its = risk if isinstance(risk, Risk) else risk.get(plate.id, Risk())
        rough[plate.id] = replace(its, fail_per_start=max(its.fail_per_start, SCREEN_FAILS))
    courses = play(problem, plan, rough, samples, seed)
    minutes, deadline, weight, _ids = _wanted(problem, courses, kit_ids)
    if not len(deadline):
        return []
    # Kits lost weigh far more than minutes: a day of one kit's lateness counts as one kit.
    late = np.maximum(0, minutes - deadline)
    loss = (late > 0).sum(axis=1) + (late @ weight) / (1440.0 * max(1.0, float(weight.mean())))
    failed = courses.failed_first.astype(np.float64)
    count_failed, count_good = failed.sum(axis=0), (1 - failed).sum(axis=0)
    with_it = loss @ failed / np.maximum(count_failed, 1)
    without = loss @ (1 - failed) / np.maximum(count_good, 1)
    placed = {run.plate_id for run in plan.runs}
    harm = np.where((count_failed > 0) & np.isin(courses.plate_ids, list(placed)), with_it - without, -np.inf)
    order = np.argsort(-harm, kind="stable")[:count]
    return [courses.plate_ids[row] for row in order if np.isfinite(harm[row])]


def _hurt(problem: Problem, base: Courses, courses: Courses, kit_ids: Collection[str] | None) -> tuple[str, ...]:
    before, deadline, _weight, ids = _wanted(problem, base, kit_ids)
    after, *_rest = _wanted(problem, courses, kit_ids)
    loss = (before <= deadline).mean(axis=0) - (after <= deadline).mean(axis=0)
    return tuple(ids[column] for column in np.argsort(-loss, kind="stable") if loss[column] >= 0.1)
