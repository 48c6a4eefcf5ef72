"""What the planner is measured against: published problems with known optima, and simple ways to mend a plan."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from planning.decoder import REJECTED, ZERO, decode, empty_timetable
from planning.price import priced
from planning.room import compile_problem
from planning.schedule import rule_plans
from planning.search import Start
from planning.types import Outage, Plan, PlannedRun, PlateJob, PrinterState, Problem, RoomRules
from planning.verify import changes_in, minutes_late
from tests.planning.rooms import textbook

# OR-Library (J. E. Beasley, J. Operational Research Society 41, 1990), weighted tardiness: 125 problems of 40 jobs.
PUBLISHED = Path(os.environ.get("MAKERLAB_PUBLISHED_PROBLEMS", "/work/shared/data/orlib_wt"))


def published(machines: int = 1) -> tuple[list[Problem], list[int]]:
    """The 125 problems, due dates divided by the number of machines and rounded down; and the optima of one machine."""
    if not (PUBLISHED / "wt40.txt").exists():
        pytest.skip(f"{PUBLISHED} has no wt40.txt: set MAKERLAB_PUBLISHED_PROBLEMS")
    values = np.array((PUBLISHED / "wt40.txt").read_text().split(), int).reshape(125, 3, 40)
    optima = [int(word) for word in (PUBLISHED / "wtopt40.txt").read_text().split()][:125]
    problems = [
        textbook(minutes, [each // machines for each in due], weights, machines)
        for minutes, weights, due in values.tolist()
    ]
    return problems, optima


def best_rule(problem: Problem) -> tuple[str, int]:
    """The best of FIFO, EDD, EDD+priority, WSPT and ATC (the best of its strengths), and its weighted tardiness."""
    found = {name: plan.objective.weighted_tardiness for name, plan in rule_plans(problem).items()}
    name = min(found, key=lambda name: found[name])
    return name, found[name]


@dataclass(frozen=True)
class Mended:
    """The room after a failure: what is left to plan, and the runs still in force; the failed plate has none."""

    problem: Problem
    in_force: Plan
    failed: str


def after_failure(problem: Problem, plan: Plan, failed: PlannedRun, frozen_min: int) -> Mended:
    """The room in the minute in which that run has failed, half-way through its print; a change costs what it costs in
    the app."""
    now = (failed.start + failed.end) // 2
    begun = {run.plate_id for run in plan.runs if run.setup_start <= now}
    left = [run for run in plan.runs if run.plate_id not in begun]
    runs = {run.plate_id: run for run in left}
    plates = [_published(plate, runs.get(plate.id)) for plate in problem.plates if plate.id not in begun]
    again = next(plate for plate in problem.plates if plate.id == failed.plate_id)
    plates.append(again)
    printers = tuple(_as_it_stands(problem, plan, printer, now, failed) for printer in problem.printers)
    done = {plate.id: plate for plate in problem.plates if plate.id in begun and plate.id != failed.plate_id}
    kits = tuple(kit for kit in problem.kits if not _over(kit.id, done, plates, printers))
    known = {kit.id for kit in kits}
    plates = [replace(plate, kit_ids=tuple(each for each in plate.kit_ids if each in known)) for plate in plates]
    printers = tuple(
        replace(each, running_kit_ids=tuple(kit for kit in each.running_kit_ids if kit in known)) for each in printers
    )
    rules = replace(problem.rules, frozen_min=frozen_min)
    mended = priced(Problem(problem.calendar, now, printers, tuple(plates), kits, rules))
    return Mended(mended, replace(plan, runs=tuple(left), clears=(), unplaced=(), released=()), failed.plate_id)


def _published(plate: PlateJob, run: PlannedRun | None) -> PlateJob:
    if run is None:
        return plate
    return replace(plate, published_printer_id=run.printer_id, published_setup_start=run.setup_start)


def _as_it_stands(problem: Problem, plan: Plan, printer: PrinterState, now: int, failed: PlannedRun) -> PrinterState:
    """The printer's spool and what it prints at that minute; a failed print is to be taken off at once."""
    plates = {plate.id: plate for plate in problem.plates}
    runs = [run for run in plan.runs if run.printer_id == printer.id and run.setup_start <= now]
    material, colour, spool_g = printer.material, printer.colour, printer.spool_g
    for run in sorted(runs, key=lambda run: run.setup_start):
        plate = plates[run.plate_id]
        spool_g = (problem.rules.new_spool_g if run.swap else spool_g) - plate.grams
        material, colour = plate.material, plate.colour
    clear = next((each for each in plan.clears if each.printer_id == printer.id), None)
    before = clear is not None and clear.clear_start >= now
    on_bed = next((run for run in runs if run.clear_start >= now), None)
    ready, kits, plate_id = now, (), None
    if on_bed is not None:
        plate_id = on_bed.plate_id
        if plate_id != failed.plate_id:
            ready, kits = max(now, on_bed.end + plates[plate_id].cool_min), plates[plate_id].kit_ids
    elif before:
        ready, kits, plate_id = max(now, printer.ready_minute), printer.running_kit_ids, printer.running_plate_id
    outages = tuple(Outage(max(0, each.start), each.end) for each in printer.outages if each.end > now)
    return replace(
        printer,
        ready_minute=ready,
        running=on_bed is not None or before,
        material=material,
        colour=colour,
        spool_g=max(0.0, round(spool_g, 3)),
        outages=outages,
        running_plate_id=plate_id,
        running_kit_ids=kits,
    )


def _over(kit_id: str, done: dict[str, PlateJob], plates: list[PlateJob], printers: tuple[PrinterState, ...]) -> bool:
    """Whether nothing about the kit is left to happen."""
    left = any(kit_id in plate.kit_ids for plate in plates)
    return not left and not any(kit_id in each.running_kit_ids for each in printers)


def right_shift(mended: Mended) -> tuple[int, int]:
    """Weighted tardiness and changes when every plate stays on its printer in its order, later as need be, and the
    failed plate is printed again next on its own printer (the classical repair: H. Abumaizar and J. Svestka, Int. J.
    Production Research 35, 1997; from memory)."""
    problem = replace(mended.problem, rules=RoomRules(**_free_of_freezing(mended.problem.rules)))
    compiled = compile_problem(problem)
    row = {plate.id: index for index, plate in enumerate(compiled.plates)}
    column = {printer.id: index for index, printer in enumerate(compiled.printers)}
    runs = {run.plate_id: run for run in mended.in_force.runs}
    order = sorted(row, key=lambda plate_id: runs[plate_id].setup_start if plate_id in runs else -1)
    failed_on = next(each.id for each in problem.printers if each.running_plate_id == mended.failed)
    printer_of = np.full(len(row), -1, np.int32)
    for plate_id, index in row.items():
        printer_of[index] = column[runs[plate_id].printer_id if plate_id in runs else failed_on]
    start = Start(np.array([row[plate_id] for plate_id in order], np.int32), printer_of)
    table = empty_timetable(compiled.room)
    assert decode(compiled.room, table, start.priority, start.printer_of, REJECTED, ZERO)
    return int(table.cost[0]), int(table.cost[4])


def _free_of_freezing(rules: RoomRules) -> dict[str, object]:
    names = ("start_min", "swap_min", "clear_min", "new_spool_g", "unattended_allowed", "published_min")
    return {name: getattr(rules, name) for name in (*names, "change_tolerance_min")}


def total_late(problem: Problem, plan: Plan) -> int:
    """Weighted minutes, whatever a change costs."""
    late = minutes_late(problem, plan)
    return sum(kit.weight * late[kit.id] for kit in problem.kits)


__all__ = ["Mended", "after_failure", "best_rule", "changes_in", "published", "right_shift", "total_late"]
