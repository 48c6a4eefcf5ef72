"""What a plan changed in the one before, as data: the page words it for whoever has not seen it yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from planning.calendar import Calendar
from planning.changes import Cause, Change, change_list
from planning.types import Objective, Pin, Plan, PlannedRun, Problem
from printing.models import Plate
from printing.planner.options import Option
from printing.planner.values import PlateNow, Snapshot


def moves_of(snapshot: Snapshot, option: Option, rows: Sequence[Plate]) -> list[dict[str, Any]]:
    """One entry for each plate that has another printer or start than was last shown, is new, or was given up.

    ``rows``: the rows the plates of the option were written to, in order. Times are ISO 8601 in UTC.
    """
    ids = {str(at): str(row.pk) for at, row in enumerate(rows)}
    problem, after = _renamed(option, ids)
    shown = {plate.id: plate for plate in snapshot.plates if plate.laid.places or plate.setup_at}
    before = _shown(problem, list(shown.values()))
    numbers = {row.pk: row.number for row in rows} | {plate.id: plate.number for plate in shown.values()}
    found = change_list(problem, before, after)
    calendar = option.posed.problem.calendar
    return [_move(change, calendar, numbers) for change in found]


def _renamed(option: Option, ids: dict[str, str]) -> tuple[Problem, Plan]:
    """Problem and plan by the ids of the rows instead of by position."""
    problem, plan = option.posed.problem, option.plan

    def pin(old: Pin) -> Pin:
        return replace(old, after_plate_ids=tuple(ids[each] for each in old.after_plate_ids))

    plates = tuple(replace(job, id=ids[job.id], pin=pin(job.pin)) for job in problem.plates)
    after = replace(
        plan,
        runs=tuple(replace(run, plate_id=ids[run.plate_id]) for run in plan.runs),
        unplaced=tuple(replace(note, plate_id=ids.get(note.plate_id, note.plate_id)) for note in plan.unplaced),
        released=tuple(replace(note, plate_id=ids.get(note.plate_id, note.plate_id)) for note in plan.released),
    )
    return replace(problem, plates=plates), after


def _shown(problem: Problem, plates: Sequence[PlateNow]) -> Plan:
    """What was last shown, as a plan."""
    runs = []
    calendar = problem.calendar
    for plate in plates:
        moments = (plate.setup_at, plate.starts_at, plate.ends_at, plate.cleared_at)
        if plate.printer_id is None or None in moments:
            continue
        setup, start, end, clear = (calendar.to_minute(moment) for moment in moments if moment is not None)
        clear_start = max(end, clear - problem.rules.clear_min)
        runs.append(PlannedRun(str(plate.id), str(plate.printer_id), plate.swap, setup, start, end, clear_start, clear))
    return Plan(tuple(runs), Objective(0, 0, 0, 0))


def _move(change: Change, calendar: Calendar, numbers: dict[int, int]) -> dict[str, Any]:
    root = change.root or change.cause
    by_plate = change.root_plate_id if root is Cause.NEW_PLATE else change.by_plate_id
    return {
        "plate": int(change.plate_id),
        "number": numbers.get(int(change.plate_id)),
        "from_printer": _number(change.from_printer_id),
        "from_at": _iso(calendar, change.from_setup_start),
        "to_printer": _number(change.to_printer_id),
        "to_at": _iso(calendar, change.to_setup_start),
        "cause": change.cause.value,
        "root": root.value,
        "by": numbers.get(int(by_plate)) if by_plate else None,
        "kits": list(change.gain_kit_ids[:1]),
    }


def _number(printer_id: str | None) -> int | None:
    return None if printer_id is None else int(printer_id)


def _iso(calendar: Calendar, minute: int | None) -> str | None:
    return None if minute is None else calendar.to_datetime(minute).isoformat()
