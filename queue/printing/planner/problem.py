"""The room and its plates as the planner's problem, in minutes from midnight of today."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from planning.calendar import Calendar
from planning.price import priced
from planning.types import Kit, Objective, Outage, Pin, Plan, PlannedRun, PlateJob, PrinterState, Problem
from printing.planner.estimates import PlateFigures
from printing.planner.values import Laid, PlateNow, PrinterNow, Snapshot, WantedCopy

DAYS_AFTER_LAST_DEADLINE = 14
DAYS_LEAST, DAYS_MOST = 14, 150


@dataclass(frozen=True)
class Posed:
    """A problem and the way back: plate ids of the problem are positions in ``plates``. ``left_out`` maps positions
    of plates without figures to the reason."""

    problem: Problem
    plates: tuple[Laid, ...]
    figures: tuple[PlateFigures, ...]
    left_out: dict[int, str]


def calendar_of(snapshot: Snapshot) -> Calendar:
    """Staffed minutes from today until well after the last deadline."""
    today = snapshot.now.astimezone(snapshot.bells.zone).date()
    last = max((kit.deadline.astimezone(snapshot.bells.zone).date() for kit in snapshot.kits), default=today)
    days = (last - today).days + DAYS_AFTER_LAST_DEADLINE
    return snapshot.bells.calendar(today, min(max(days, DAYS_LEAST), DAYS_MOST))


def pose(snapshot: Snapshot, calendar: Calendar, plates: Sequence[Laid], figures: Sequence[PlateFigures]) -> Posed:
    """The scheduling problem of these plates. Plates without figures are left out, with the reason."""
    now = minute_up(calendar, snapshot.now)
    left_out = {at: plate.unknown for at, plate in enumerate(figures) if plate.unknown}
    published = {plate.id: plate for plate in snapshot.plates}
    place = {laid.plate_id: str(at) for at, laid in enumerate(plates) if laid.plate_id is not None}
    jobs = tuple(
        _pinned(
            _job(snapshot, calendar, at, plates[at], figures[at], published),
            pin_of(calendar, snapshot.now, published.get(plates[at].plate_id or 0), place),
            now + snapshot.rules.frozen_min,
        )
        for at in range(len(plates))
        if at not in left_out
    )
    problem = Problem(
        calendar=calendar,
        now=now,
        printers=tuple(_printer(calendar, now, printer) for printer in snapshot.printers),
        plates=jobs,
        kits=tuple(Kit(kit.id, calendar.to_minute(kit.deadline), kit.weight) for kit in snapshot.kits),
        rules=snapshot.rules,
    )
    return Posed(priced(problem), tuple(plates), tuple(figures), left_out)


def pin_of(calendar: Calendar, now: datetime, plate: PlateNow | None, place: Mapping[int, str]) -> Pin:
    """What staff have fixed, by the problem's ids. A start that has passed holds no more: the plate is set up as soon
    as it can be; and nothing waits for a plate that was started. ``place``: plate row -> id in the problem."""
    if plate is None:
        return Pin()
    pin = plate.pin
    after = place.get(pin.after_plate_id) if pin.after_plate_id is not None else None
    return Pin(
        printer_id=str(pin.printer_id) if pin.printer_id is not None else None,
        setup_start=calendar.to_minute(pin.setup_at) if pin.setup_at is not None and pin.setup_at >= now else None,
        after_plate_ids=(after,) if after is not None else (),
    )


def _pinned(job: PlateJob, pin: Pin, frozen_until: int) -> PlateJob:
    """The job with its pin. A plate that comes after another one does not hold on to a start so near that it would be
    frozen: the other one, if it is late, would find no time before it."""
    start = job.published_setup_start
    if pin.after_plate_ids and pin.setup_start is None and start is not None and start < frozen_until:
        return replace(job, pin=pin, published_printer_id=None, published_setup_start=None)
    return replace(job, pin=pin)


def minute_up(calendar: Calendar, moment: datetime) -> int:
    """Whole minutes to a moment, rounded up: nothing is planned into the past."""
    return calendar.to_minute(moment + timedelta(seconds=59, microseconds=999_999))


def minutes_of(duration_s: float) -> int:
    """Whole minutes, rounded up, at least one."""
    return max(1, math.ceil(duration_s / 60))


def expected_s(snapshot: Snapshot, printer: PrinterNow, laid: Laid, estimate_s: float) -> float:
    """The model's seconds as this printer takes them, by its runs on record."""
    return snapshot.lesson(printer, laid.material).duration(estimate_s).mean


def _job(
    snapshot: Snapshot,
    calendar: Calendar,
    at: int,
    laid: Laid,
    figures: PlateFigures,
    published: dict[int, PlateNow],
) -> PlateJob:
    durations = figures.durations_s or {}
    barred = figures.barred or {}
    copies = [snapshot.copies[place.copy_id] for place in laid.places]
    shown = published.get(laid.plate_id) if laid.plate_id is not None else None
    return PlateJob(
        id=str(at),
        kit_ids=tuple(sorted({copy.kit_id for copy in copies if copy.kit_id and not copy.spare})),
        material=laid.material,
        colour=laid.colour,
        grams=figures.mass_g,
        duration_min={
            str(printer.id): minutes_of(expected_s(snapshot, printer, laid, durations[printer.kind.id]))
            for printer in snapshot.printers
            if printer.kind.id in durations
        },
        cool_min=math.ceil(figures.cool_down_s / 60),
        published_printer_id=str(shown.printer_id) if shown and shown.printer_id else None,
        published_setup_start=calendar.to_minute(shown.setup_at) if shown and shown.setup_at else None,
        queue_position=min((copy.rank[1] for copy in copies), default=0),
        copies=max(1, len(copies) - spares_on(copies)),
        spares=spares_on(copies),
        barred={str(printer.id): barred[printer.kind.id] for printer in snapshot.printers if printer.kind.id in barred},
    )


def spares_on(copies: Sequence[WantedCopy]) -> int:
    """How many copies of a plate may be lost whichever they are: the least number of spares of any part on it, since
    spares of one part do not stand in for another."""
    spares: dict[tuple[str | None, str], int] = {}
    for copy in copies:
        key = (copy.kit_id, copy.source.key)
        spares[key] = spares.get(key, 0) + copy.spare
    least = min(spares.values(), default=0)
    return least if least < len(copies) else 0


def _printer(calendar: Calendar, now: int, printer: PrinterNow) -> PrinterState:
    running = printer.running
    ready, spool_g = now, printer.spool_g
    if running:
        cool = timedelta(seconds=float(printer.kind.machine["cool_down_s"]))
        ready = max(now, minute_up(calendar, running.expected_end_at + cool))
        spool_g = max(0.0, spool_g - running.mass_g)
    return PrinterState(
        id=str(printer.id),
        name=printer.name,
        ready_minute=ready,
        running=running is not None,
        material=printer.material,
        colour=printer.colour,
        spool_g=spool_g,
        may_run_unattended=printer.may_run_unattended,
        outages=tuple(
            Outage(
                max(0, calendar.to_minute(since)),
                calendar.end if until is None else minute_up(calendar, until),
                reason,
            )
            for since, until, reason in printer.outages
            if until is None or until > calendar.origin
        ),
        running_plate_id=str(running.plate_id) if running else None,
        running_kit_ids=running.kit_ids if running else (),
    )


def plan_in_force(posed: Posed, snapshot: Snapshot) -> Plan | None:
    """What the technicians were last shown, for the plates that are still the same; None when nothing is."""
    published = {plate.id: plate for plate in snapshot.plates}
    rules, runs = posed.problem.rules, []
    for job in posed.problem.plates:
        laid = posed.plates[int(job.id)]
        shown = published.get(laid.plate_id) if laid.plate_id is not None else None
        if shown is None or job.published_printer_id not in job.duration_min or job.published_setup_start is None:
            continue
        setup = max(job.published_setup_start, posed.problem.now)
        start = setup + rules.start_min + rules.swap_min * shown.swap
        end = start + job.duration_min[str(job.published_printer_id)]
        clear = end + job.cool_min
        if shown.cleared_at is not None:
            clear = max(clear, posed.problem.calendar.to_minute(shown.cleared_at) - rules.clear_min)
        runs.append(
            PlannedRun(
                plate_id=job.id,
                printer_id=str(job.published_printer_id),
                swap=shown.swap,
                setup_start=setup,
                start=start,
                end=end,
                clear_start=clear,
                clear_end=clear + rules.clear_min,
            )
        )
    return Plan(tuple(runs), Objective(0, 0, 0, 0)) if runs else None
