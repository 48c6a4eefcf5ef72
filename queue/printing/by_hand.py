"""How a plate is laid out by hand: what stands on it, what could, and whether a wished arrangement may stand there.

The rules are those of the planner (``planning.clearance``): on the bed inside its margin, clear of areas kept free,
apart by the room's gap. Lengths in mm from the front left corner of the bed, turns in degrees anticlockwise.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from lessons.models import SchoolClass
from makerlab.accounts.models import User
from makerlab.components.figures import millimetres
from planning.clearance import Breach, Rule, breaches, free_place
from planning.types import Bed, Footprint, PlacedItem
from printing.models import Plate, PrintCopy, Printer, PrinterKind, PrintRequest
from printing.planner.beds import why_not_on
from printing.planner.snapshot import canonical, kind_value, settings_of, source_of
from printing.planner.values import Kind, Laid, Place, Source, WantedCopy
from printing.states import CopyState, PlateState

CANDIDATES_MOST = 60
Batch = tuple[str, str, str]  # material, colour, canonical print settings: what copies on one plate share


@dataclass(frozen=True)
class Stand:
    """Where one copy is wished to stand; without a place the server looks for one."""

    copy_id: int
    x_mm: float | None = None
    y_mm: float | None = None
    turn_deg: float = 0.0

    @property
    def has_place(self) -> bool:
        return self.x_mm is not None and self.y_mm is not None


@dataclass(frozen=True)
class Wish:
    """An arrangement somebody asks for: the bed it is made for, the copies, and the version of the plate they saw."""

    kind: PrinterKind
    stands: tuple[Stand, ...]
    version: str = ""


@dataclass(frozen=True)
class Verdict:
    """What is to be said of a wished arrangement. ``stands`` has a place for every copy one was found for."""

    stands: tuple[Stand, ...]
    breaches: tuple[Breach, ...]
    sentences: tuple[str, ...]
    by_copy: Mapping[int, tuple[str, ...]]
    printers: tuple[str, ...]  # that can print it so
    others: tuple[str, ...]  # "Heron cannot hold a 240 mm chassis"

    @property
    def is_sound(self) -> bool:
        return not self.sentences


def version_of(plate: Plate, copies: Iterable[PrintCopy] | None = None) -> str:
    """Changes whenever what stands on the plate, or where, changes. ``copies``: those on it, where the caller has read
    them."""
    standing = plate.copies.all() if copies is None else copies
    rows = sorted([copy.pk, copy.state, copy.x_mm, copy.y_mm, copy.turn_deg] for copy in standing)
    bed = (plate.bed_width_mm, plate.bed_depth_mm, plate.bed_round)
    content = json.dumps([plate.pk, plate.state, plate.held, plate.arranged, bed, rows])
    return hashlib.sha256(content.encode()).hexdigest()[:16]


def printers_of(plate: Plate) -> list[Printer]:
    """The printers of the plate's room, with their kinds."""
    return list(Printer.objects.filter(room=plate.room_id).select_related("kind"))


def kinds_of(plate: Plate, printers: Iterable[Printer]) -> list[PrinterKind]:
    """The kinds of these printers whose bed the plate may be laid out on: that of its printer first."""
    kinds = list({row.kind_id: row.kind for row in printers}.values())
    wanted = plate.settings.get("nozzle_mm")
    fitting = [kind for kind in kinds if wanted is None or abs(kind.nozzle_mm - float(wanted)) < 1e-6] or kinds
    first = plate.printer.kind_id if plate.printer else None
    return sorted(fitting, key=lambda kind: (kind.pk != first, -kind.width_mm * kind.depth_mm, kind.pk))


def batch_of(request: PrintRequest) -> Batch | None:
    """What a copy's plate mates must share; None when its print settings cannot work together."""
    settings = settings_of(request)
    return None if settings is None else (settings.material, request.kit_part.colour, canonical(settings))


def free_copies(plate: Plate, user: User, standing: Iterable[PrintCopy]) -> list[PrintCopy]:
    """Copies that this person may add to those ``standing`` on the plate: waiting, or planned on a plate whose file was
    not taken, printed alike. First come those without a plate, then in order of the queue."""
    batches = {batch_of(copy.request) for copy in standing}
    if len(batches) != 1 or None in batches:
        return []
    own = PrintRequest.objects.visible_to(user)
    if user.is_teacher:
        own = own.filter(assignment__school_class__in=SchoolClass.objects.editable_by(user))
    rows = (
        PrintCopy.objects.filter(request__room=plate.room_id, request__in=own)
        .filter(state__in=[CopyState.WAITING, CopyState.PLANNED])
        .exclude(plate=plate.pk)
        .exclude(plate__held=True)
        .exclude(plate__state__in=[PlateState.PRINTING, PlateState.CLEARED])
        .select_related(
            "plate",
            "request__submission",
            "request__kit_part",
            "request__team",
            "request__assignment__school_class",
        )
        .defer("request__submission__picture", "request__kit_part__picture")
        .order_by("request__rank", "number")
    )
    known: dict[tuple[int, int], Batch | None] = {}
    found = []
    for copy in rows:
        key = (copy.request.kit_part_id, copy.request.assignment_id)
        if key not in known:
            known[key] = batch_of(copy.request)
        if known[key] in batches and source_for(copy) is not None:
            found.append(copy)
    return sorted(found, key=lambda copy: copy.plate_id is not None)[:CANDIDATES_MOST]


def source_for(copy: PrintCopy) -> Source | None:
    """The copy's file as the planner sees it; None where it cannot stand on a plate."""
    measured = copy.request.source
    source = source_of(f"{measured._meta.model_name}-{measured.pk}", measured)
    return None if isinstance(source, str) else source


def copies_by_id(copies: Iterable[PrintCopy]) -> dict[int, WantedCopy]:
    """Copies as the planner sees them."""
    found: dict[int, WantedCopy] = {}
    sources: dict[str, Source | None] = {}
    for copy in copies:
        measured = copy.request.source
        key = f"{measured._meta.model_name}-{measured.pk}"
        if key not in sources:
            sources[key] = source_for(copy)
        source, batch = sources[key], batch_of(copy.request)
        if source is not None and batch is not None:
            part = copy.request.kit_part.name
            found[copy.pk] = WantedCopy(copy.pk, source, *batch, rank=(False, 0, 0), part=part)
    return found


def names_of(standing: Sequence[PrintCopy], free: Sequence[PrintCopy] = ()) -> dict[int, str]:
    """What each copy is called while one lays out: its number on the plate, or the next ones for what may be added."""
    names = {copy.pk: f"{copy.place or at + 1}" for at, copy in enumerate(standing)}
    last = max((int(name) for name in names.values()), default=0)
    return names | {copy.pk: f"{last + at + 1}" for at, copy in enumerate(free)}


def stands_now(plate: Plate, copies: Sequence[PrintCopy], kind: PrinterKind) -> tuple[Stand, ...]:
    """What stands on the plate, in the middle of a bed of that kind."""
    dx, dy = (kind.width_mm - plate.bed_width_mm) / 2, (kind.depth_mm - plate.bed_depth_mm) / 2
    return tuple(
        Stand(copy.pk, copy.x_mm + dx, copy.y_mm + dy, copy.turn_deg)
        for copy in copies
        if copy.x_mm is not None and copy.y_mm is not None
    )


def judge(
    plate: Plate,
    wish: Wish,
    copies: Mapping[int, WantedCopy],
    numbers: Mapping[int, str],
    printers: Iterable[Printer] | None = None,
) -> Verdict:
    """Look for places that were left open, then hold the whole against the rules. ``numbers`` names the copies;
    ``printers``: those of the room, where the caller has read them."""
    kind = kind_value(wish.kind)
    footprints: dict[str, Footprint] = {str(pk): copy.source.footprint for pk, copy in copies.items()}
    stands, lost = with_places(wish.stands, footprints, kind.bed, plate.room.gap_mm)
    placed = [spot_of(stand) for stand in stands if stand.has_place]
    broken = breaches(placed, footprints, kind.bed, plate.room.gap_mm)
    said: list[tuple[tuple[int, ...], str]] = [
        ((int(breach.item_ids[0]), int(breach.item_ids[-1])), sentence(breach, numbers, wish.kind, plate.room.gap_mm))
        for breach in broken
    ]
    said += [((pk,), _("%(copy)s finds no free place on this bed.") % {"copy": numbers[pk]}) for pk in lost]
    said += [
        (
            (stand.copy_id,),
            _("%(copy)s is %(height)s tall; this printer makes parts up to %(most)s.")
            % {
                "copy": numbers[stand.copy_id],
                "height": millimetres(copies[stand.copy_id].source.height_mm, 0),
                "most": millimetres(kind.bed.height_mm, 0),
            },
        )
        for stand in stands
        if copies[stand.copy_id].source.height_mm > kind.bed.height_mm + 1e-6
    ]
    if not stands:
        said.append(((), _("One copy at least stays on the plate. To give the plate up, let the planner lay it out.")))
    by_copy: dict[int, tuple[str, ...]] = {}
    for ids, words in said:
        for copy_id in set(ids):
            by_copy[copy_id] = (*by_copy.get(copy_id, ()), words)
    can, cannot = who_prints(plate, kind, stands, copies, printers_of(plate) if printers is None else printers)
    return Verdict(stands, broken, tuple(words for _ids, words in said), by_copy, can, cannot)


def with_places(
    stands: Sequence[Stand], footprints: Mapping[str, Footprint], bed: Bed, gap_mm: float
) -> tuple[tuple[Stand, ...], list[int]]:
    """The same copies, those without a place put where one is free; and the copies no place was found for."""
    placed = [spot_of(stand) for stand in stands if stand.has_place]
    lost, found = [], []
    for stand in stands:
        if stand.has_place:
            found.append(stand)
            continue
        spot = free_place(str(stand.copy_id), placed, footprints, bed, gap_mm)
        if spot is None:
            lost.append(stand.copy_id)
            found.append(stand)
        else:
            placed.append(spot)
            found.append(Stand(stand.copy_id, spot.x_mm, spot.y_mm, spot.turn_deg))
    return tuple(found), lost


def spot_of(stand: Stand) -> PlacedItem:
    """A copy with a place, as the pure core takes it."""
    assert stand.x_mm is not None
    assert stand.y_mm is not None
    return PlacedItem(str(stand.copy_id), stand.x_mm, stand.y_mm, stand.turn_deg)


def sentence(breach: Breach, numbers: Mapping[int, str], kind: PrinterKind, gap_mm: float) -> str:
    """A broken rule in words with its figures."""
    names = {
        "copy": numbers[int(breach.item_ids[0])],
        "other": numbers[int(breach.item_ids[-1])],
        "away": millimetres(breach.distance_mm),
        "least": millimetres(gap_mm),
    }
    if breach.rule == Rule.OVERLAP:
        return _("%(copy)s and %(other)s lie on top of each other.") % names
    if breach.rule == Rule.GAP:
        return _("%(copy)s and %(other)s are %(away)s apart; %(least)s is the least.") % names
    if breach.rule == Rule.KEPT_FREE and breach.distance_mm == 0:
        return _("%(copy)s overlaps the area kept free.") % names
    if breach.rule == Rule.KEPT_FREE:
        return _("%(copy)s is %(away)s from the area kept free; %(least)s is the least.") % names
    if breach.distance_mm > kind.margin_mm:
        over = {**names, "over": millimetres(breach.distance_mm - kind.margin_mm)}
        return _("%(copy)s hangs %(over)s over the edge of the bed.") % over
    margin = {**names, "margin": millimetres(kind.margin_mm)}
    return _("%(copy)s stands %(away)s inside the edge of %(margin)s that stays free.") % margin


def who_prints(
    plate: Plate,
    on: Kind,
    stands: Sequence[Stand],
    copies: Mapping[int, WantedCopy],
    printers: Iterable[Printer],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the printers that can print it so, and why each other one cannot."""
    places = tuple(
        Place(stand.copy_id, stand.x_mm, stand.y_mm, stand.turn_deg)
        for stand in stands
        if stand.x_mm is not None and stand.y_mm is not None
    )
    laid = Laid(places, on.id, on.bed, plate.material, plate.colour, "")
    can, cannot = [], []
    for printer in printers:
        reason = why_not_on(laid, kind_value(printer.kind), copies, on.nozzle_mm)
        if reason is None:
            can.append(printer.name)
        else:
            cannot.append(f"{printer} {reason}")
    return tuple(can), tuple(cannot)
