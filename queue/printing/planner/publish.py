"""Write a plan: plates with their copies and times, and the facts the pages tell. Runs in the job's transaction."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from statistics import mean
from typing import Any

from django.db.models import F, Max

from planning.calendar import Calendar
from planning.explain import explain
from planning.failures import two_hour_share
from planning.learned import ASSUMED
from planning.material import bars, longest_runs
from planning.types import Explanation, Plan
from planning.verify import minutes_late, served_minutes
from printing.models import Plate, PrintCopy, Room, RoomPlan
from printing.planner.arrangement import arrangement_of
from printing.planner.chances import Chances
from printing.planner.choose import Choice, Option
from printing.planner.problem import expected_s
from printing.planner.prepared import withdraw_changed
from printing.planner.values import Laid, Snapshot
from printing.states import CopyState, PlateState

FULL_PERCENT = 100
FIXED_THERE = "The plate is fixed to it: let it go, or choose another printer."


def publish(snapshot: Snapshot, choice: Choice, cause: str, seconds: float) -> RoomPlan | None:
    """Write the plan if the room is still as the snapshot saw it; None, and nothing written, when it has changed."""
    room = Room.objects.filter(pk=snapshot.room_id, revision=snapshot.revision)
    if not room.update(revision=F("revision") + 1):
        return None
    option = choice.option
    numbers = _write_plates(snapshot, option)
    _write_clears(snapshot, option)
    late = minutes_late(option.posed.problem, option.plan)
    return RoomPlan.objects.create(
        room_id=snapshot.room_id,
        seconds=seconds,
        plates=len(option.posed.plates),
        late_kits=sum(minutes > 0 for minutes in late.values()),
        tardiness_min=float(sum(late.values())),
        facts=facts_of(snapshot, choice, numbers) | {"revision": snapshot.revision + 1},
        cause=cause[:120],
    )


def _write_plates(snapshot: Snapshot, option: Option) -> list[int]:
    """Rows for the plates of the plan; returns the number of each. Rows nobody needs any more go."""
    rows = {row.pk: row for row in Plate.objects.filter(room_id=snapshot.room_id, state=PlateState.PLANNED)}
    matched = match_rows(snapshot, option.posed.plates)
    last = Plate.objects.filter(room_id=snapshot.room_id).aggregate(last=Max("number"))["last"] or 0
    planned = PrintCopy.objects.filter(request__room_id=snapshot.room_id, state=CopyState.PLANNED)
    planned.update(state=CopyState.WAITING, plate=None, place=None, x_mm=None, y_mm=None, turn_deg=0.0)
    Plate.objects.filter(pk__in=set(rows) - {pk for pk in matched if pk}).delete()
    numbers = [0] * len(option.posed.plates)
    for at in _by_start(option):  # new plates get their numbers in order of their starts
        laid = option.posed.plates[at]
        row = rows.get(matched[at] or 0)
        if row is None:
            last += 1
            row = Plate(room_id=snapshot.room_id, number=last)
        _fill_row(row, snapshot, option, at, laid)
        row.save()
        _place_copies(row, laid)
        withdraw_changed(row, arrangement_of(laid, snapshot.copies))
        numbers[at] = row.number
    return numbers


def _write_clears(snapshot: Snapshot, option: Option) -> None:
    """When the running prints will be taken off: the only thing about them a plan may say."""
    running = {printer.id: printer.running.plate_id for printer in snapshot.printers if printer.running}
    for clear in option.plan.clears:
        at = option.posed.problem.calendar.to_datetime(clear.clear_end)
        Plate.objects.filter(pk=running[int(clear.printer_id)], state=PlateState.PRINTING).update(cleared_at=at)


def _by_start(option: Option) -> list[int]:
    """Positions of the plates in order of their set-up; those without a place last."""
    setup = {int(run.plate_id): run.setup_start for run in option.plan.runs}
    return sorted(range(len(option.posed.plates)), key=lambda at: (at not in setup, setup.get(at, 0), at))


def match_rows(snapshot: Snapshot, plates: Iterable[Laid]) -> list[int | None]:
    """Which existing plate row each new plate takes over, so that numbers stay: the same plate, else the one with most
    copies in common, else any that would be given up. Plates that stay together go to nobody else."""
    free = {plate.id: plate.laid for plate in snapshot.plates}
    wanted = list(plates)
    matched: list[int | None] = [None] * len(wanted)
    for at, laid in enumerate(wanted):
        if laid.plate_id in free:
            matched[at] = laid.plate_id
            del free[laid.plate_id]
    free = {plate_id: laid for plate_id, laid in free.items() if not laid.stays}
    pairs = sorted(
        (-len(laid.copy_ids & old.copy_ids), at, plate_id)
        for at, laid in enumerate(wanted)
        if matched[at] is None
        for plate_id, old in free.items()
    )
    for _common, at, plate_id in pairs:
        if matched[at] is None and plate_id in free:
            matched[at] = plate_id
            del free[plate_id]
    return matched


def _fill_row(row: Plate, snapshot: Snapshot, option: Option, at: int, laid: Laid) -> None:
    """The row's figures and its place in the plan."""
    figures, calendar = option.posed.figures[at], option.posed.problem.calendar
    run = option.plan.run_of(str(at))
    durations = figures.durations_s or {}
    row.material, row.colour, row.settings = laid.material, laid.colour, json.loads(laid.settings)
    row.bed_width_mm, row.bed_depth_mm, row.bed_round = laid.bed.width_mm, laid.bed.depth_mm, laid.bed.is_round
    row.mass_g, row.held = figures.mass_g, laid.held
    if row.pk and laid.plate_id != row.pk:  # another arrangement under this number: what was fixed held for the old one
        row.pin_printer, row.pin_setup_at, row.pin_after, row.arranged = None, None, None, False
    printers = [printer for printer in snapshot.printers if printer.kind.id in durations]
    row.estimates_s = {str(printer.id): durations[printer.kind.id] for printer in printers}
    row.durations_s = {
        str(printer.id): expected_s(snapshot, printer, laid, durations[printer.kind.id]) for printer in printers
    }
    shown = (row.printer_id, row.setup_at, row.starts_at, row.ends_at)
    row.printer_id = int(run.printer_id) if run else None
    row.swap = bool(run and run.swap)
    row.setup_at = calendar.to_datetime(run.setup_start) if run else None
    row.starts_at = calendar.to_datetime(run.start) if run else None
    row.ends_at = calendar.to_datetime(run.end) if run else None
    row.cleared_at = calendar.to_datetime(run.clear_end) if run else None
    row.changes += shown != (row.printer_id, row.setup_at, row.starts_at, row.ends_at)
    row.unplanned_because = "" if run else _why_unplanned(option, at)


def _why_unplanned(option: Option, at: int) -> str:
    if at in option.posed.left_out:
        return option.posed.left_out[at]
    problem = option.posed.problem
    job = next(plate for plate in problem.plates if plate.id == str(at))
    if job.pin.printer_id is not None:  # of the others nobody asks
        barred = bars(problem, job, longest_runs(problem))
        if job.pin.printer_id in barred:
            return f"{barred[job.pin.printer_id]}. {FIXED_THERE}"
    return next((note.reason for note in option.plan.unplaced if note.plate_id == str(at)), "")


def _place_copies(row: Plate, laid: Laid) -> None:
    copies = [
        PrintCopy(
            pk=place.copy_id,
            state=CopyState.PLANNED,
            plate=row,
            place=number + 1,
            x_mm=place.x_mm,
            y_mm=place.y_mm,
            turn_deg=place.turn_deg,
        )
        for number, place in enumerate(laid.places)
    ]
    PrintCopy.objects.bulk_update(copies, ["state", "plate", "place", "x_mm", "y_mm", "turn_deg"])


def facts_of(snapshot: Snapshot, choice: Choice, numbers: list[int]) -> dict[str, Any]:
    """What the pages tell of the plan, all of it computed; times are ISO 8601 in UTC."""
    option, calendar = choice.option, choice.calendar
    problem, plan = option.posed.problem, option.plan
    explanation = explain(problem, plan)
    return {
        "way": option.name,
        "method": plan.method,
        "objective": {
            "weighted_tardiness": plan.objective.weighted_tardiness,
            "late_weight": plan.objective.late_weight,
            "swaps": plan.objective.swaps,
            "completion": plan.objective.completion,
        },
        "violations": 0,  # checked by planning.verify before it came here
        "changes": plan.changes,
        "sizes": [
            {
                "name": tried.name,
                "plates": tried.plates,
                "largest": tried.largest,
                "staff_min": tried.staff_min,
                "tardiness_min": tried.tardiness_min,
                "late_kits": tried.late_kits,
                "done_at": _iso(calendar.to_datetime(tried.done_minute)),
                "unplaced": tried.unplaced,
                "rough": tried.rough,
                "chance": tried.chance,
                "chosen": tried.name == option.name,
            }
            for tried in choice.tried
        ],
        "kits": _kits(snapshot, option, choice.chances),
        "chance_all": choice.chances.everything,
        "chance_by_assignment": choice.chances.group,
        "risk": risk_told(choice),
        "unplaced": {str(copy_id): why for copy_id, why in {**snapshot.unplaced, **option.misfits}.items()},
        "clears": [
            {"printer": int(clear.printer_id), "at": _iso(calendar.to_datetime(clear.clear_start))}
            for clear in plan.clears
        ],
        "loads": loads_of(explanation, plan, calendar, problem.now),
        "overload": [
            week.sentence
            for week in explanation.weeks
            if max(week.technician_percent, week.printer_percent) > FULL_PERCENT
        ],
        "numbers": numbers,
    }


def _iso(moment: datetime) -> str:
    return moment.isoformat()


def risk_told(choice: Choice) -> dict[str, Any]:
    """How unsure the plan's prints are, on average over its plates; ``known`` counts those on a printer whose minutes
    are learned from runs."""
    risks = list(choice.risks.values()) or [ASSUMED]
    return {
        "fail_in_100_two_hour_prints": round(100 * mean(two_hour_share(risk) for risk in risks)),
        "spread_percent": round(100 * mean(risk.duration_spread for risk in risks)),
        "known": choice.learned_plates,
        "plates": len(choice.risks),
    }


def _kits(snapshot: Snapshot, option: Option, chances: Chances) -> list[dict[str, Any]]:
    problem = option.posed.problem
    served = served_minutes(problem, option.plan)
    late = minutes_late(problem, option.plan)
    lost = _kits_without_place(snapshot, option)
    rows = []
    for kit in snapshot.kits:
        minute = served[kit.id]
        ready = None if minute is None or kit.id in lost else _iso(problem.calendar.to_datetime(minute))
        assignment_id, _, team_id = kit.id.partition(":")
        rows.append(
            {
                "assignment": int(assignment_id),
                "team": int(team_id),
                "name": kit.name,
                "ready_at": ready,
                "deadline": _iso(kit.deadline),
                "late_min": late[kit.id],
                "chance": 0.0 if kit.id in lost else chances.kit.get(kit.id),
                "likely_at": _iso(likely) if (likely := chances.likely_at.get(kit.id)) else None,
                "nearly_sure_at": _iso(sure) if (sure := chances.nearly_sure_at.get(kit.id)) else None,
            }
        )
    return rows


def _kits_without_place(snapshot: Snapshot, option: Option) -> set[str]:
    """Kits with a copy that has no place in the plan: nobody knows when they are ready."""
    placed = {run.plate_id for run in option.plan.runs}
    lost = [
        copy_id for at, laid in enumerate(option.posed.plates) if str(at) not in placed for copy_id in laid.copy_ids
    ]
    kits = {snapshot.copies[copy_id].kit_id for copy_id in (*lost, *option.misfits)}
    return {kit for kit in kits if kit}


def loads_of(explanation: Explanation, plan: Plan, calendar: Calendar, now: int) -> list[dict[str, Any]]:
    """Day by day, where something is planned: hands and printers against what there is, as ``planning.explain`` counts
    it; the staff's minutes and turns behind the percentage."""
    spans = {day.day: (day.start, day.end) for day in calendar.days}
    actions = [(run.setup_start, run.start) for run in plan.runs]
    actions += [(run.clear_start, run.clear_end) for run in plan.runs]
    actions += [(clear.clear_start, clear.clear_end) for clear in plan.clears]
    rows = []
    for load in explanation.days:
        start, end = spans[load.day]
        turns = [(first, last) for first, last in actions if start <= first < end]
        if not turns:
            continue
        staffed = [part for part in calendar.staffed if start <= part.start < end and part.end > now]
        rows.append(
            {
                "day": load.day.isoformat(),
                "staff_min": sum(last - first for first, last in turns),
                "staff_there_min": sum((part.end - max(part.start, now)) * part.staff for part in staffed),
                "staff_percent": _whole(load.technician_percent),
                "turns": len(turns),
                "printers": [
                    {"printer": int(printer_id), "percent": _whole(percent)}
                    for printer_id, percent in load.printer_percent.items()
                ],
            }
        )
    return rows


def _whole(percent: float) -> int:
    """Whole percent; JSON has no infinity, and past 999 % nothing more is said."""
    return round(min(percent, 999.0))
