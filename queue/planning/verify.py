"""The independent check: recomputes a plan from printers and set-up minutes alone, in plain Python.

Shares no code with the search but the rounding of grams to milligrams and the calendar.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from planning.material import plate_mg, spool_mg
from planning.types import Objective, Plan, PlannedRun, PlateJob, PrinterState, Problem


def violations(problem: Problem, plan: Plan) -> list[str]:
    """Every rule of the room the plan breaks, one sentence each; empty when it is sound."""
    found = [*_complete(problem, plan)]
    if found:
        return found
    plates = {plate.id: plate for plate in problem.plates}
    for printer in problem.printers:
        runs = sorted((run for run in plan.runs if run.printer_id == printer.id), key=lambda run: run.setup_start)
        found += _printer(problem, plan, printer, runs, plates)
    found += _technicians(problem, plan)
    found += _pins(problem, plan)
    if evaluate(problem, plan) != plan.objective:
        found.append(f"The objective is {evaluate(problem, plan)}, not {plan.objective}.")
    if changes_in(problem, plan.runs) != plan.changes:
        found.append(f"It moves {changes_in(problem, plan.runs)} published starts, not {plan.changes}.")
    return found


def _complete(problem: Problem, plan: Plan) -> Iterator[str]:
    placed = [run.plate_id for run in plan.runs]
    left_out = [note.plate_id for note in plan.unplaced]
    known_printers = {printer.id for printer in problem.printers}
    ids = {plate.id for plate in problem.plates}
    for plate_id in sorted(ids):
        times = placed.count(plate_id) + left_out.count(plate_id)
        if times != 1:
            yield f"Plate {plate_id} is in the plan {times} times."
    yield from (f"Plate {plate_id} is not in the problem." for plate_id in placed if plate_id not in ids)
    for run in plan.runs:
        if run.printer_id not in known_printers:
            yield f"Plate {run.plate_id} is on an unknown printer {run.printer_id}."
    yield from (f"Plate {note.plate_id} is left out without a reason." for note in plan.unplaced if not note.reason)


def _printer(
    problem: Problem, plan: Plan, printer: PrinterState, runs: list[PlannedRun], plates: dict[str, PlateJob]
) -> Iterator[str]:
    rules = problem.rules
    free_from = max(problem.now, printer.ready_minute)
    if printer.running:
        clear = next((each for each in plan.clears if each.printer_id == printer.id), None)
        if clear is None:
            if runs:
                yield f"{printer.name} has runs planned, but what it prints now is never cleared."
            return
        if clear.clear_start < free_from or clear.clear_end != clear.clear_start + rules.clear_min:
            yield f"The clearing of {printer.name} is at the wrong time."
        free_from = clear.clear_end
    spool, left_mg = (printer.material, printer.colour), spool_mg(printer.spool_g)
    for run in runs:
        plate = plates[run.plate_id]
        where = f"Plate {plate.id} on {printer.name}"
        if printer.id not in plate.duration_min:
            yield f"{where}: the printer cannot print it."
            continue
        need_mg = plate_mg(plate.grams)
        swap = spool != (plate.material, plate.colour) or left_mg < need_mg
        spool, left_mg = (plate.material, plate.colour), (spool_mg(rules.new_spool_g) if swap else left_mg) - need_mg
        if left_mg < 0:
            yield f"{where}: the spool runs out."
        start = run.setup_start + rules.start_min + (rules.swap_min if swap else 0)
        end = start + plate.duration_min[printer.id]
        if (run.swap, run.start, run.end) != (swap, start, end):
            yield f"{where}: start, end or swap are not what its set-up minute implies."
        if run.clear_end != run.clear_start + rules.clear_min or run.clear_start < end + plate.cool_min:
            yield f"{where}: cleared too early or for the wrong time."
        if run.setup_start < free_from:
            yield f"{where}: set up before the printer is free."
        yield from _run_times(problem, printer, where, run.setup_start, end, run.clear_end)
        free_from = run.clear_end


def _run_times(
    problem: Problem, printer: PrinterState, where: str, setup_start: int, end: int, clear_end: int
) -> Iterator[str]:
    day = problem.calendar.day_of(setup_start)
    if day is None:
        yield f"{where}: set up when nobody is there."
        return
    limit: int | None = day.end
    if problem.rules.unattended_allowed and printer.may_run_unattended:
        limit = None if day.unattended_until is None else max(day.end, day.unattended_until)
    if limit is not None and end > limit:
        yield f"{where}: still printing when it must have ended."
    if clear_end > problem.calendar.end:
        yield f"{where}: cleared after the calendar ends."
    if any(outage.start < end and setup_start < outage.end for outage in printer.outages):
        yield f"{where}: the printer is out of service."


def _technicians(problem: Problem, plan: Plan) -> Iterator[str]:
    """Never more staff actions at once than staff in the room: a sweep over every minute where either changes."""
    steps: dict[int, int] = {}
    actions = [(run.setup_start, run.start) for run in plan.runs]
    actions += [(run.clear_start, run.clear_end) for run in plan.runs]
    actions += [(clear.clear_start, clear.clear_end) for clear in plan.clears]
    for start, end in actions:
        steps[start] = steps.get(start, 0) + 1
        steps[end] = steps.get(end, 0) - 1
        if problem.calendar.staff_at(start) == 0:
            yield f"A staff action begins at minute {start}, when nobody is there."
        if start < problem.now:
            yield f"A staff action begins at minute {start}, before now."
    for part in problem.calendar.staffed:
        steps.setdefault(part.start, 0)
        steps.setdefault(part.end, 0)
    busy = 0
    for minute, following in pairwise([*sorted(steps), problem.calendar.end + 1]):
        busy += steps[minute]
        if minute < following and busy > problem.calendar.staff_at(minute):
            yield f"{busy} staff actions at minute {minute}, with {problem.calendar.staff_at(minute)} staff."


def _pins(problem: Problem, plan: Plan) -> Iterator[str]:
    released = {note.plate_id for note in plan.released}
    runs = {run.plate_id: run for run in plan.runs}
    for plate in problem.plates:
        run = runs.get(plate.id)
        if run is None:
            continue
        if plate.pin.printer_id not in (None, run.printer_id):
            yield f"Plate {plate.id} is not on the printer it is pinned to."
        if plate.pin.setup_start not in (None, run.setup_start):
            yield f"Plate {plate.id} is not set up at the minute it is pinned to."
        for before in plate.pin.after_plate_ids:
            if before in runs and runs[before].setup_start > run.setup_start:
                yield f"Plate {plate.id} is set up before plate {before}, against its pin."
        shown = plate.published_setup_start
        moved = (plate.published_printer_id, shown) != (run.printer_id, run.setup_start)
        is_frozen = shown is not None and plate.published_printer_id and shown < problem.now + problem.rules.frozen_min
        overruled = plate.id in released or plate.pin.setup_start is not None or plate.pin.printer_id is not None
        if is_frozen and moved and not overruled:
            yield f"Plate {plate.id} was moved inside the frozen window."


def served_minutes(problem: Problem, plan: Plan) -> dict[str, int | None]:
    """Kit id -> minute its last plate is cleared; the calendar's end if one is not placed; None with nothing to do."""
    served: dict[str, int | None] = {kit.id: None for kit in problem.kits}
    ends = {run.plate_id: run.clear_end for run in plan.runs}
    clears = {clear.printer_id: clear.clear_end for clear in plan.clears}
    waits = [(plate.kit_ids, ends.get(plate.id, problem.calendar.end)) for plate in problem.plates]
    for printer in problem.printers:
        if printer.running:
            waits.append((printer.running_kit_ids, clears.get(printer.id, problem.calendar.end)))
    for kit_ids, minute in waits:
        for kit_id in kit_ids:
            before = served.get(kit_id)
            served[kit_id] = minute if before is None else max(before, minute)
    return served


def minutes_late(problem: Problem, plan: Plan) -> dict[str, int]:
    """Kit id -> whole minutes it is served after its deadline, 0 when on time or without a deadline."""
    served = served_minutes(problem, plan)
    late = {}
    for kit in problem.kits:
        minute = served[kit.id]
        late[kit.id] = 0 if minute is None or kit.deadline_minute is None else max(0, minute - kit.deadline_minute)
    return late


def changes_in(problem: Problem, runs: Iterable[PlannedRun]) -> int:
    """How many published starts that count are moved: to another printer, or by more than the room's tolerance."""
    rules, changes = problem.rules, 0
    plates = {plate.id: plate for plate in problem.plates}
    for run in runs:
        plate = plates[run.plate_id]
        shown = plate.published_setup_start
        if shown is not None and shown < problem.now + rules.published_min:
            moved = abs(run.setup_start - shown) > rules.change_tolerance_min
            changes += moved or plate.published_printer_id != run.printer_id
    return changes


def evaluate(problem: Problem, plan: Plan) -> Objective:
    """The objective, from the runs' clearings and the spools alone."""
    late = minutes_late(problem, plan)
    placed = {run.plate_id for run in plan.runs}
    lost = sum(plate.id not in placed for plate in problem.plates)
    to_the_end = problem.calendar.end - problem.now
    return Objective(
        weighted_tardiness=sum(kit.weight * late[kit.id] for kit in problem.kits),
        late_weight=sum(kit.weight for kit in problem.kits if late[kit.id]),
        swaps=sum(run.swap for run in plan.runs),
        completion=sum(run.clear_end - problem.now for run in plan.runs) + lost * to_the_end,
    )
