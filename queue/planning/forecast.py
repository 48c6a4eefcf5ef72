"""Will the class have its parts? The plan played through many times with failures and longer prints.

With no risk the forecast reproduces the plan to the minute. Prints running now are taken to finish as expected; what
they make is not printed again here.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.pins import empty_diary
from planning.room import Compiled, compile_problem
from planning.simulation import LINE, simulate
from planning.types import DeadlineForecast, Forecast, KitForecast, Plan, Problem, Risk

NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True)
class Courses:
    """The simulated courses: ``plate_min`` (samples, plates) and ``kit_min`` (samples, kits) hold the minute at which
    a plate is cleared and a kit served, the calendar's end if never (kits: -1 with nothing to wait for).
    ``failed_first`` (samples, plates): whether a plate's first attempt was not good."""

    plate_ids: tuple[str, ...]
    plate_min: NDArray[np.int64]
    failed_first: NDArray[np.bool_]
    kit_ids: tuple[str, ...]
    kit_min: NDArray[np.int64]
    staff_min: NDArray[np.int64]


def play(
    problem: Problem,
    plan: Plan,
    risk: Risk | Mapping[str, Risk],
    samples: int = 2000,
    seed: int = 0,
    fails_first: Collection[str] = (),
) -> Courses:
    """``samples`` courses of the plan. ``risk`` is one for all plates, or by plate id (a plate not named has none).
    The first attempt of the plates ``fails_first`` fails in every course.

    The same seed gives the same luck to the same plates, so that two plans can be compared. Raises ``ValueError`` for a
    plan that does not belong to the problem.
    """
    if samples < 1:
        raise ValueError("A forecast needs one sample at least.")
    compiled = compile_problem(problem)
    row = {plate.id: index for index, plate in enumerate(compiled.plates)}
    if unknown := [run.plate_id for run in plan.runs if run.plate_id not in row]:
        raise ValueError(f"The plan has a plate the problem does not have: {unknown[0]}.")
    cleared = np.zeros((samples, len(compiled.plates)), np.int64)
    failed = np.zeros(cleared.shape, np.bool_)
    staff_min = np.zeros(samples, np.int64)
    risks = _risks(compiled, risk, fails_first)
    _run_kernel(problem, compiled, plan, risks, cleared, failed, staff_min, seed)
    kit_min = _kits_served(problem, compiled, plan, cleared)
    kit_ids = tuple(kit.id for kit in compiled.kits)
    return Courses(tuple(row), cleared, failed, kit_ids, kit_min, staff_min)


def forecast(
    problem: Problem, plan: Plan, risk: Risk | Mapping[str, Risk], samples: int = 2000, seed: int = 0
) -> Forecast:
    """Chances and ready times per kit, and per deadline for all kits due then."""
    courses = play(problem, plan, risk, samples, seed)
    end = problem.calendar.end
    kits = {kit.id: kit for kit in problem.kits}
    found = []
    due: dict[int, list[int]] = {}
    for column, kit_id in enumerate(courses.kit_ids):
        deadline = kits[kit_id].deadline_minute
        minutes = courses.kit_min[:, column]
        chance = None if deadline is None else float((minutes <= deadline).mean())
        found.append(KitForecast(kit_id, chance, _quantile(minutes, 0.5, end), _quantile(minutes, 0.9, end)))
        if deadline is not None:
            due.setdefault(deadline, []).append(column)
    deadlines = []
    for deadline, columns in sorted(due.items()):
        minutes = courses.kit_min[:, columns]
        last = minutes.max(axis=1)
        deadlines.append(
            DeadlineForecast(
                deadline_minute=deadline,
                kit_ids=tuple(courses.kit_ids[column] for column in columns),
                chance_all=float((last <= deadline).mean()),
                expected_kits=float((minutes <= deadline).sum(axis=1).mean()),
                median_ready_minute=_quantile(last, 0.5, end),
                ninety_percent_ready_minute=_quantile(last, 0.9, end),
            )
        )
    return Forecast(samples, tuple(found), tuple(deadlines), float(courses.staff_min.mean()) / 60)


def _quantile(minutes: NDArray[np.int64], share: float, end: int) -> int | None:
    """The first minute by which that share of the courses is there; None when it lies beyond the calendar."""
    at = int(np.sort(minutes)[int(np.ceil(share * len(minutes))) - 1])
    return None if at >= end else max(at, 0)


def _risks(compiled: Compiled, risk: Risk | Mapping[str, Risk], fails_first: Collection[str]) -> NDArray[np.float64]:
    """(n, 7), the columns of planning.simulation."""
    risks = np.zeros((len(compiled.plates), 7))
    for row, plate in enumerate(compiled.plates):
        its = risk if isinstance(risk, Risk) else risk.get(plate.id, Risk())
        chances = (its.fail_per_start, its.fail_per_hour, its.duration_spread, its.spoil_per_copy)
        risks[row] = (*chances, plate.copies, plate.spares, plate.id in fails_first)
    return risks


def _run_kernel(
    problem: Problem,
    compiled: Compiled,
    plan: Plan,
    risks: NDArray[np.float64],
    cleared: NDArray[np.int64],
    failed: NDArray[np.bool_],
    staff_min: NDArray[np.int64],
    seed: int,
) -> None:
    row = {plate.id: index for index, plate in enumerate(compiled.plates)}
    column = {printer.id: index for index, printer in enumerate(compiled.printers)}
    setup, clear = np.zeros(len(row), np.int64), np.zeros(len(row), np.int64)
    on_printer: list[list[int]] = [[] for _ in column]
    for run in sorted(plan.runs, key=lambda run: run.setup_start):
        setup[row[run.plate_id]], clear[row[run.plate_id]] = run.setup_start, run.clear_start
        on_printer[column[run.printer_id]].append(row[run.plate_id])
    lines = np.zeros(len(column), LINE)
    for name in ("ready", "loaded", "spool_mg", "unattended", "first_outage", "last_outage"):
        lines[name] = compiled.room.printers[name]
    bounds = np.cumsum([0, *(len(rows) for rows in on_printer)])
    lines["first"], lines["last"] = bounds[:-1], bounds[1:]
    lines["running_clear"] = -1
    for each in plan.clears:
        lines[column[each.printer_id]]["running_clear"] = each.clear_start
    sequence = np.array([each for rows in on_printer for each in rows], np.int64)
    rules = problem.rules
    diary = empty_diary(problem.calendar, problem.now, max(1, min(rules.start_min, rules.clear_min)))
    empty = (diary.busy, diary.planes, diary.staff, diary.skip)
    scratch = (diary.busy.copy(), diary.planes.copy(), diary.staff, diary.skip.copy())
    fresh, luck = lines.copy(), np.uint64(seed)
    simulate(
        empty, scratch, compiled.room, fresh, lines, sequence, setup, clear, risks, cleared, failed, staff_min, luck
    )


def _kits_served(problem: Problem, compiled: Compiled, plan: Plan, cleared: NDArray[np.int64]) -> NDArray[np.int64]:
    """The last clearing of each kit's plates; running prints as planned; the calendar's end for what has no place."""
    end = problem.calendar.end
    column = {kit.id: index for index, kit in enumerate(compiled.kits)}
    row = {plate.id: index for index, plate in enumerate(compiled.plates)}
    served = np.full((len(cleared), len(column)), -1, np.int64)
    for plate in problem.plates:
        minutes = cleared[:, row[plate.id]] if plate.id in row else np.int64(end)
        for kit_id in plate.kit_ids:
            served[:, column[kit_id]] = np.maximum(served[:, column[kit_id]], minutes)
    clears = {clear.printer_id: clear.clear_end for clear in plan.clears}
    for printer in problem.printers:
        for kit_id in printer.running_kit_ids if printer.running else ():
            if kit_id in column:
                served[:, column[kit_id]] = np.maximum(served[:, column[kit_id]], clears.get(printer.id, end))
    return served
