"""Copies to plates, in several ways: by plate size, and for one bed or shared out over the kinds of bed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from planning.plates import lay_out, misfits
from planning.types import Bed, Item, PlateLayout, Shape
from printing.planner.beds import common_bed
from printing.planner.values import Kind, Laid, Place, Snapshot, WantedCopy, nozzle_of
from printing.planner.ways import Way
from telling import told


@dataclass(frozen=True)
class LaidOut:
    """Plates, and the copies that stand on no bed of the room with the reason."""

    plates: tuple[Laid, ...]
    misfits: dict[int, str]


def groups(copies: Iterable[WantedCopy]) -> dict[tuple[str, str, str], list[WantedCopy]]:
    """Copies that may share a plate: one material, colour and set of print settings."""
    found: dict[tuple[str, str, str], list[WantedCopy]] = {}
    for copy in sorted(copies, key=lambda copy: (copy.rank, copy.id)):
        found.setdefault((copy.material, copy.colour, copy.settings), []).append(copy)
    return found


def arrange(snapshot: Snapshot, copies: Iterable[WantedCopy], way: Way) -> LaidOut:
    """All copies on plates in the given way."""
    plates: list[Laid] = []
    unplaced: dict[int, str] = {}
    for key, members in groups(copies).items():
        nozzle_mm = nozzle_of(key[2])
        kinds = [kind for kind in snapshot.kinds if abs(kind.nozzle_mm - nozzle_mm) < 1e-6]
        if not kinds:
            unplaced |= {copy.id: told("No printer has a {nozzle:g} mm nozzle.", nozzle=nozzle_mm) for copy in members}
            continue
        for bed, kind_id, share in _shares(snapshot, kinds, members, way, unplaced):
            for layout in lay_out(
                [_item(copy) for copy in share], bed, snapshot.gap_mm, way.per_plate_max, way.kits_together
            ):
                plates.append(_laid(layout, bed, kind_id, key[2]))
    return LaidOut(tuple(plates), unplaced)


def _item(copy: WantedCopy) -> Item:
    shape = Shape(copy.source.footprint, copy.source.height_mm)
    return Item(str(copy.id), shape, copy.material, copy.colour, copy.kit_id)


def _laid(layout: PlateLayout, bed: Bed, kind_id: int | None, settings: str) -> Laid:
    # places are numbered row by row from the front left, as one reads the bed
    ordered = sorted(layout.items, key=lambda item: (round(item.y_mm / 10), item.x_mm))
    places = tuple(Place(int(item.item_id), item.x_mm, item.y_mm, item.turn_deg) for item in ordered)
    return Laid(places, kind_id, bed, layout.material, layout.colour, settings)


Share = tuple[Bed, int | None, list[WantedCopy]]


def _shares(
    snapshot: Snapshot, kinds: list[Kind], members: list[WantedCopy], way: Way, unplaced: dict[int, str]
) -> list[Share]:
    """Which copies go on which bed. Copies that fit on no bed are noted in ``unplaced``."""
    fits: dict[int, list[Kind]] = {copy.id: [] for copy in members}
    for kind in kinds:
        refused = {misfit.item_id for misfit in misfits([_item(copy) for copy in members], kind.bed, snapshot.gap_mm)}
        for copy in members:
            if str(copy.id) not in refused:
                fits[copy.id].append(kind)
    largest = max(kinds, key=lambda kind: kind.bed.width_mm * kind.bed.depth_mm)
    why = misfits([_item(copy) for copy in members if not fits[copy.id]], largest.bed, snapshot.gap_mm)
    unplaced |= {int(misfit.item_id): misfit.reason for misfit in why}
    placeable = [copy for copy in members if fits[copy.id]]
    if way.shared_out:
        return _shared_out(snapshot, placeable, fits)
    return _on_common_bed(snapshot, placeable, fits)


def _on_common_bed(snapshot: Snapshot, members: list[WantedCopy], fits: dict[int, list[Kind]]) -> list[Share]:
    """Copies that fit the same kinds share the bed those kinds have in common, where it holds them."""
    by_kinds: dict[tuple[int, ...], list[WantedCopy]] = {}
    for copy in members:
        by_kinds.setdefault(tuple(kind.id for kind in fits[copy.id]), []).append(copy)
    shares: list[Share] = []
    for copies in by_kinds.values():
        kinds = fits[copies[0].id]
        bed = common_bed([kind.bed for kind in kinds])
        refused = set()
        if bed is not None:
            refused = {misfit.item_id for misfit in misfits([_item(copy) for copy in copies], bed, snapshot.gap_mm)}
            shares.append((bed, None, [copy for copy in copies if str(copy.id) not in refused]))
        rest = [copy for copy in copies if bed is None or str(copy.id) in refused]
        if rest:
            shares += _shared_out(snapshot, rest, fits)
    return [share for share in shares if share[2]]


def _shared_out(snapshot: Snapshot, members: list[WantedCopy], fits: dict[int, list[Kind]]) -> list[Share]:
    """Kits in order of the queue, each to the kind that has most printers for what it has been given so far."""
    printers: dict[int, int] = {}
    for printer in snapshot.printers:
        printers[printer.kind.id] = printers.get(printer.kind.id, 0) + 1
    shares: dict[int, list[WantedCopy]] = {}
    beds = {kind.id: kind.bed for kind in snapshot.kinds}
    work: dict[int, float] = dict.fromkeys(printers, 0.0)
    for together in _kits_of(members):
        possible = [
            kind_id for kind_id in printers if all(kind_id in {k.id for k in fits[c.id]} for c in together)
        ] or [fits[together[0].id][0].id]
        minutes = sum(copy.source.duration_s for copy in together) / 60
        chosen = min(possible, key=lambda kind_id: ((work[kind_id] + minutes) / printers[kind_id], kind_id))
        work[chosen] += minutes
        shares.setdefault(chosen, []).extend(together)
    return [(beds[kind_id], kind_id, copies) for kind_id, copies in sorted(shares.items())]


def _kits_of(members: list[WantedCopy]) -> list[list[WantedCopy]]:
    """Copies of one kit that fit the same beds stay together; spares one by one."""
    kits: dict[tuple[str, str], list[WantedCopy]] = {}
    for copy in members:
        kits.setdefault((copy.kit_id or f"spare {copy.id}", copy.source.key), []).append(copy)
    return list(kits.values())
