"""How sure a plan is: it is played many times with failures and longer prints (planning.forecast)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from planning.forecast import play
from planning.types import Plan, Problem, Risk
from printing.planner.problem import Posed
from printing.planner.values import Snapshot

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


def risks_of(snapshot: Snapshot, posed: Posed, plan: Plan) -> dict[str, Risk]:
    """The risk of each planned plate on the printer it is planned on, by plate id: assumed, and corrected by what the
    runs of that printer with that material have shown (``planning.learned``)."""
    printers = {str(printer.id): printer for printer in snapshot.printers}
    risks = {}
    for run in plan.runs:
        at, printer = int(run.plate_id), printers[run.printer_id]
        estimate_s = (posed.figures[at].durations_s or {})[printer.kind.id]
        risks[run.plate_id] = snapshot.lesson(printer, posed.plates[at].material).risk(estimate_s)
    return risks


def learned_plates(snapshot: Snapshot, posed: Posed, plan: Plan) -> int:
    """How many planned plates stand on a printer whose minutes come from runs, its own or its kind's."""
    printers = {str(printer.id): printer for printer in snapshot.printers}
    lessons = (snapshot.lesson(printers[run.printer_id], posed.plates[int(run.plate_id)].material) for run in plan.runs)
    return sum(not lesson.is_default for lesson in lessons)


def chances_of(problem: Problem, plan: Plan, risk: Risk | Mapping[str, Risk], samples: int = SAMPLES) -> Chances:
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
