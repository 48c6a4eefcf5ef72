"""Read a room as it stands now."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from lessons.models import Assignment, KitPart, MeasuredFile
from lessons.print_settings import in_force
from makerlab.work.stored_files import stored
from meshcheck.types import PrintSettings, Unit
from planning.types import Bed, Circle, Footprint, Hull, Rectangle, RoomRules
from printing.hours import read_bells
from printing.learning import learn
from printing.models import Plate, PrintCopy, Printer, PrinterKind, PrintRequest, Room, RoomPlan, Run
from printing.planner.values import (
    Kind,
    KitNeed,
    Laid,
    PinNow,
    Place,
    PlateNow,
    PrinterNow,
    Running,
    Snapshot,
    Source,
    WantedCopy,
)
from printing.states import CopyState, Outcome, PlateState
from telling import told

URGENT_WEIGHT = 5  # a minute late of an urgent kit counts as much as that many of another (our own choice)
NEW_SPOOL_G = 750.0  # what a fresh spool holds when no full one of the colour lies on the shelf (common practice)


def take_snapshot(room_id: int, now: datetime) -> Snapshot:
    """Everything the plan depends on, read in one transaction."""
    with transaction.atomic():
        room = Room.objects.select_related("school").get(pk=room_id)
        copies, unplaced = _copies(room)
        printers = _printers(room)
        return Snapshot(
            room_id=room.pk,
            school_id=room.school_id,
            revision=room.revision,
            now=now,
            bells=read_bells(room),
            rules=_rules(room),
            gap_mm=room.gap_mm,
            printers=printers,
            copies=copies,
            kits=_kits(room, copies.values(), printers),
            plates=_plates(room, copies, now),
            unplaced=unplaced,
            plate_size=room.plate_size,
            laid_as=_laid_as(room),
            learned=learn(room.pk),
        )


def _laid_as(room: Room) -> str:
    """The way in which the arrangement in force was laid out."""
    newest = RoomPlan.objects.filter(room=room).first()
    return str(newest.facts.get("laid_as", "")) if newest else ""


def _rules(room: Room) -> RoomRules:
    fullest = max((spool.grams_left for spool in room.spools.filter(printer__isnull=True)), default=NEW_SPOOL_G)
    return RoomRules(
        start_min=room.start_min,
        swap_min=room.swap_min,
        clear_min=room.clear_min,
        new_spool_g=max(fullest, NEW_SPOOL_G),
        unattended_allowed=room.unattended_allowed,
        frozen_min=room.frozen_min,
    )


def kit_id_of(assignment_id: int, team_id: int | None) -> str | None:
    """Spares of the class belong to no kit: nobody waits for them."""
    return None if team_id is None else f"{assignment_id}:{team_id}"


def _copies(room: Room) -> tuple[dict[int, WantedCopy], dict[int, str]]:
    rows = (
        PrintCopy.objects.filter(request__room=room, state__in=[CopyState.WAITING, CopyState.PLANNED])
        .select_related("request__submission__kit_part", "request__kit_part", "request__assignment")
        .defer("request__submission__picture", "request__kit_part__picture")
        .order_by("request__rank", "number")
    )
    sources: dict[str, Source | str] = {}
    wanted: dict[tuple[int, int], PrintSettings | None] = {}
    copies: dict[int, WantedCopy] = {}
    unplaced: dict[int, str] = {}
    for row in rows:
        request = row.request
        measured = request.source
        key = f"{measured._meta.model_name}-{measured.pk}"
        if key not in sources:
            sources[key] = source_of(key, measured)
        source = sources[key]
        whose = (request.kit_part_id, request.assignment_id)
        if whose not in wanted:
            wanted[whose] = settings_of(request)
        settings = wanted[whose]
        if request.held:
            unplaced[row.pk] = told("It is on hold.")
            continue
        if isinstance(source, str) or settings is None:
            unplaced[row.pk] = source if isinstance(source, str) else told("Its print settings cannot work together.")
            continue
        copies[row.pk] = WantedCopy(
            id=row.pk,
            source=source,
            material=settings.material,
            colour=request.kit_part.colour,
            settings=canonical(settings),
            rank=(request.team_id is None or is_spare(row), request.rank, row.number),
            kit_id=kit_id_of(request.assignment_id, request.team_id),
            part=request.kit_part.name,
            assignment_id=request.assignment_id,
            spare=is_spare(row),
        )
    return copies, unplaced


def is_spare(copy: PrintCopy) -> bool:
    """Whether a team's copy is beyond what it needs: one that was ordered in case another is lost."""
    request = copy.request
    if request.team_id is None:
        return False
    return copy.number > copies_wanted(request.kit_part, request.source.copies_in_file)


def copies_wanted(kit_part: KitPart, copies_in_file: int) -> int:
    """How often a file is printed so that a team has enough: four wheels, two in the file, make two copies."""
    return math.ceil(kit_part.copies_per_team / max(1, copies_in_file))


def settings_of(request: PrintRequest) -> PrintSettings | None:
    """The print settings in force for what was ordered; None when they cannot work together."""
    try:
        return in_force(request.kit_part, request.assignment)
    except (ValueError, TypeError):
        return None


def canonical(settings: PrintSettings) -> str:
    """The settings as JSON text: equal text, equal settings."""
    return json.dumps(asdict(settings), sort_keys=True)


def source_of(key: str, measured: MeasuredFile) -> Source | str:
    """The file as the plan needs it, or the reason why it cannot stand on a plate."""
    if not measured.is_printable or measured.height_mm is None:
        return told("It has not been measured, so nobody knows its grams and minutes.")
    footprint = footprint_of(measured.report or {}, measured.width_mm, measured.depth_mm)
    if footprint is None:
        return told("Its outline on the bed is not known.")
    return Source(
        key=key,
        path=stored(measured.file),
        name=measured.file_name,
        sha256=measured.sha256,
        pose=tuple((float(x), float(y), float(z)) for x, y, z in measured.pose) if measured.pose else None,
        unit=str(measured.unit or (measured.report or {}).get("units") or Unit.MILLIMETRE.value),
        footprint=footprint,
        height_mm=measured.height_mm,
        mass_g=measured.mass_g or 0.0,
        duration_s=measured.duration_s or 0.0,
    )


def footprint_of(report: Mapping[str, Any], width_mm: float | None, depth_mm: float | None) -> Footprint | None:
    """The outline the check measured, as the plan takes it; the part's box where the check gives none."""
    outline = report.get("footprint") or {}
    kind = outline.get("kind")
    try:
        if kind == "circle":
            return Circle(float(outline.get("radius_mm") or outline["width_mm"] / 2))
        if kind == "hull":
            return Hull(tuple((float(x), float(y)) for x, y in outline["corners_mm"]))
        if width_mm and depth_mm:
            return Rectangle(width_mm, depth_mm)
    except (KeyError, TypeError, ValueError):
        return None
    return None


def bed_of(kind: PrinterKind) -> Bed:
    """The bed of a kind of printer."""
    if kind.bed == PrinterKind.Bed.ROUND:
        return Bed.circle(kind.width_mm, kind.height_mm, kind.margin_mm, kind.areas())
    return Bed.rectangle(kind.width_mm, kind.depth_mm, kind.height_mm, kind.margin_mm, kind.areas())


def kind_value(kind: PrinterKind) -> Kind:
    return Kind(kind.pk, kind.name, bed_of(kind), kind.nozzle_mm, asdict(kind.machine_value()))


def _printers(room: Room) -> tuple[PrinterNow, ...]:
    rows = Printer.objects.filter(room=room).select_related("kind", "spool").prefetch_related("outages")
    running = {
        run.printer_id: run
        for run in Run.objects.filter(plate__room=room, outcome=Outcome.RUNNING).prefetch_related(
            "plate__copies__request"
        )
    }
    kinds = {row.kind_id: kind_value(row.kind) for row in rows}
    return tuple(_printer(row, kinds[row.kind_id], running.get(row.pk)) for row in rows)


def _printer(row: Printer, kind: Kind, run: Run | None) -> PrinterNow:
    spool = getattr(row, "spool", None)
    return PrinterNow(
        id=row.pk,
        name=row.name,
        kind=kind,
        may_run_unattended=row.may_run_unattended,
        material=spool.material if spool else "",
        colour=spool.colour if spool else "",
        spool_g=spool.grams_left if spool else 0.0,
        outages=tuple((outage.since, outage.until, outage.reason) for outage in row.outages.all()),
        running=_running(run) if run else None,
    )


def _running(run: Run) -> Running:
    served = {
        kit_id_of(copy.request.assignment_id, copy.request.team_id)
        for copy in run.plate.copies.all()
        if copy.state == CopyState.PRINTING
    }
    return Running(
        plate_id=run.plate_id,
        expected_end_at=run.expected_end_at,
        mass_g=run.estimate_g,
        kit_ids=tuple(sorted(kit for kit in served if kit)),
    )


def _kits(room: Room, copies: Iterable[WantedCopy], printers: Iterable[PrinterNow]) -> tuple[KitNeed, ...]:
    wanted = {copy.kit_id for copy in copies if copy.kit_id}
    wanted |= {kit_id for printer in printers if printer.running for kit_id in printer.running.kit_ids}
    assignments = (
        Assignment.objects.filter(print_requests__room=room)
        .distinct()
        .select_related("meeting", "school_class")
        .prefetch_related("school_class__teams")
    )
    asked = PrintRequest.objects.filter(room=room, team__isnull=False).exclude(urgent_because="")
    urgent = {kit_id_of(*pair) for pair in asked.values_list("assignment_id", "team_id")}
    kits = []
    for assignment in assignments:
        for team in assignment.school_class.teams.all():
            kit_id = kit_id_of(assignment.pk, team.pk)
            if kit_id in wanted:
                name = f"{assignment.school_class}, {team}"
                weight = assignment.priority * (URGENT_WEIGHT if kit_id in urgent else 1)
                kits.append(KitNeed(str(kit_id), name, assignment.meeting.starts_at, weight))
    return tuple(sorted(kits, key=lambda kit: kit.id))


def _plates(room: Room, copies: Mapping[int, WantedCopy], now: datetime) -> tuple[PlateNow, ...]:
    rows = list(Plate.objects.filter(room=room, state=PlateState.PLANNED).prefetch_related("copies"))
    followed = {row.pin_after_id for row in rows if row.pin_after_id}
    frozen_until = now + timedelta(minutes=room.frozen_min)

    def stays(row: Plate) -> bool:
        soon = row.setup_at is not None and now <= row.setup_at < frozen_until
        return row.held or row.arranged or row.is_pinned or row.pk in followed or soon

    return tuple(plate_now(row, copies, stays(row)) for row in rows)


def plate_now(row: Plate, copies: Mapping[int, WantedCopy], stays: bool = False) -> PlateNow:
    """A planned plate with the copies that still stand on it."""
    placed = sorted(
        (copy for copy in row.copies.all() if copy.pk in copies and copy.x_mm is not None and copy.y_mm is not None),
        key=lambda copy: copy.place or 0,
    )
    bed = (
        Bed.circle(row.bed_width_mm, 1e6, 0.0)
        if row.bed_round
        else Bed.rectangle(row.bed_width_mm, row.bed_depth_mm, 1e6, 0.0)
    )
    laid = Laid(
        places=tuple(Place(copy.pk, copy.x_mm or 0.0, copy.y_mm or 0.0, copy.turn_deg) for copy in placed),
        kind_id=None,
        bed=bed,
        material=row.material,
        colour=row.colour,
        settings=json.dumps(row.settings, sort_keys=True),
        plate_id=row.pk,
        held=row.held,
        stays=stays or row.held,
    )
    return PlateNow(
        id=row.pk,
        number=row.number,
        laid=laid,
        printer_id=row.printer_id,
        setup_at=row.setup_at,
        swap=row.swap,
        starts_at=row.starts_at,
        ends_at=row.ends_at,
        cleared_at=row.cleared_at,
        pin=PinNow(row.pin_printer_id, row.pin_setup_at, row.pin_after_id),
    )
