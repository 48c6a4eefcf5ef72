"""Write a plan: plates with their copies and times, and the facts the pages tell. Runs in the job's transaction."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db.models import F, Max
from django.utils import timezone

from planning.material import bars, longest_runs
from planning.room import AFTER_LOST
from planning.verify import minutes_late
from printing.causes import Cause
from printing.models import Plate, PrintCopy, Room, RoomPlan
from printing.planner.arrangement import arrangement_of
from printing.planner.choose import Choice
from printing.planner.facts import facts_of
from printing.planner.moves import moves_of
from printing.planner.options import Option
from printing.planner.prepared import withdraw_changed
from printing.planner.problem import expected_s
from printing.planner.values import Laid, Snapshot
from printing.reasons import kept_text
from printing.signals import plan_published
from printing.states import CopyState, PlateState
from telling import Told, told

FIXED_THERE = "{why}. The plate is fixed to it: let it go, or choose another printer."


def publish(snapshot: Snapshot, choice: Choice, causes: Sequence[Cause], seconds: float) -> RoomPlan | None:
    """Write the plan if the room is still as the snapshot saw it; None, and nothing written, when it has changed."""
    room = Room.objects.filter(pk=snapshot.room_id, revision=snapshot.revision)
    if not room.update(revision=F("revision") + 1):
        return None
    option = choice.option
    before = RoomPlan.objects.filter(room_id=snapshot.room_id).first()
    rows = _write_plates(snapshot, option)
    _write_clears(snapshot, option)
    late = minutes_late(option.posed.problem, option.plan)
    facts = facts_of(snapshot, choice, [row.number for row in rows], before.facts if before else {})
    plan = RoomPlan.objects.create(
        room_id=snapshot.room_id,
        seconds=seconds,
        plates=len(option.posed.plates),
        late_kits=sum(minutes > 0 for minutes in late.values()),
        tardiness_min=float(sum(late.values())),
        facts=facts
        | {"revision": snapshot.revision + 1, "moves": moves_of(snapshot, option, rows)}
        | {"ready": ready_of(facts["kits"], before)},
        causes=list(causes),
    )
    plan_published.send(sender=RoomPlan, plan=plan)
    return plan


def ready_of(kits: Iterable[Mapping[str, Any]], before: RoomPlan | None) -> dict[str, dict[str, Any]]:
    """By assignment when its last team has its last part, where every team has a time, and how often that changed: a
    calendar that shows it is told of changes, not of plans. The count goes on from the number of the plan before, which
    was the count while it was not kept."""
    moments: dict[str, list[str | None]] = {}
    for kit in kits:
        moments.setdefault(str(kit["assignment"]), []).append(kit["ready_at"])
    known = before.facts.get("ready", {}) if before else {}
    found = {}
    for assignment, times in moments.items():
        at = None if None in times else max(datetime.fromisoformat(time) for time in times if time).isoformat()
        was = known.get(assignment)
        count = was["count"] if was else before.pk if before else 0
        found[assignment] = was if was and was["at"] == at else {"at": at, "count": count + 1}
    return found


def _write_plates(snapshot: Snapshot, option: Option) -> list[Plate]:
    """Rows for the plates of the plan, in their order. Rows nobody needs any more go."""
    rows = {row.pk: row for row in Plate.objects.filter(room_id=snapshot.room_id, state=PlateState.PLANNED)}
    matched = match_rows(snapshot, option.posed.plates)
    last = Plate.objects.filter(room_id=snapshot.room_id).aggregate(last=Max("number"))["last"] or 0
    planned = PrintCopy.objects.filter(request__room_id=snapshot.room_id, state=CopyState.PLANNED)
    planned.update(state=CopyState.WAITING, plate=None, place=None, x_mm=None, y_mm=None, turn_deg=0.0)
    Plate.objects.filter(pk__in=set(rows) - {pk for pk in matched if pk}).delete()
    written: dict[int, Plate] = {}
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
        written[at] = row
    return [written[at] for at in range(len(option.posed.plates))]


def _write_clears(snapshot: Snapshot, option: Option) -> None:
    """When the running prints will be taken off: the only thing about them a plan may say."""
    running = {printer.id: printer.running.plate_id for printer in snapshot.printers if printer.running}
    for clear in option.plan.clears:
        at = option.posed.problem.calendar.to_datetime(clear.clear_end)
        printing = Plate.objects.filter(pk=running[int(clear.printer_id)], state=PlateState.PRINTING)
        printing.exclude(cleared_at=at).update(cleared_at=at, changes=F("changes") + 1, changed_at=timezone.now())


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
    shown = (row.printer_id, row.swap, row.setup_at, row.starts_at, row.ends_at, row.cleared_at)
    row.printer_id = int(run.printer_id) if run else None
    row.swap = bool(run and run.swap)
    row.setup_at = calendar.to_datetime(run.setup_start) if run else None
    row.starts_at = calendar.to_datetime(run.start) if run else None
    row.ends_at = calendar.to_datetime(run.end) if run else None
    row.cleared_at = calendar.to_datetime(run.clear_end) if run else None
    moved = shown != (row.printer_id, row.swap, row.setup_at, row.starts_at, row.ends_at, row.cleared_at)
    row.changes += moved
    if moved or laid.plate_id != row.pk or row.changed_at is None:
        row.changed_at = timezone.now()
    row.unplanned_because = "" if run else kept_text(_why_unplanned(snapshot, option, at))


def _why_unplanned(snapshot: Snapshot, option: Option, at: int) -> str:
    if at in option.posed.left_out:
        return option.posed.left_out[at]
    problem = option.posed.problem
    job = next(plate for plate in problem.plates if plate.id == str(at))
    if job.pin.printer_id is not None:  # of the others nobody asks
        barred = bars(problem, job, longest_runs(problem))
        if job.pin.printer_id in barred:
            return told(FIXED_THERE, why=barred[job.pin.printer_id])
    reason = next((note.reason for note in option.plan.unplaced if note.plate_id == str(at)), "")
    if isinstance(reason, Told) and reason.template == AFTER_LOST:
        row_id = option.posed.plates[int(reason.values["plate"])].plate_id
        number = next((plate.number for plate in snapshot.plates if plate.id == row_id), None)
        return reason if number is None else told(AFTER_LOST, plate=f"P{number}")
    return reason


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
