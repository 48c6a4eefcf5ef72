"""The room as it would be: a snapshot with the changes in it. Nothing here touches the database."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from planning.calendar import StaffedInterval
from printing.planner.values import KitNeed, PrinterNow, Snapshot, WantedCopy
from printing.whatif.changes import Changes


def situation(snapshot: Snapshot, changes: Changes, meeting_of: Mapping[int, int]) -> Snapshot:
    """``meeting_of``: the meeting of each assignment. Added printers and copies get ids below zero."""
    copies = _with_spares(_with_infill(snapshot.copies, changes), changes)
    return replace(
        snapshot,
        printers=_printers(snapshot, changes),
        bells=replace(snapshot.bells, extra=_extra(snapshot, changes)),
        copies=copies,
        kits=tuple(_kit(kit, changes, meeting_of) for kit in snapshot.kits),
    )


def _extra(snapshot: Snapshot, changes: Changes) -> dict[date, tuple[StaffedInterval, ...]]:
    extra = dict(snapshot.bells.extra)
    for each in changes.hours:
        span = StaffedInterval(each.starts_at, each.ends_at, each.staff)
        extra[each.day] = (*extra.get(each.day, ()), span)
    return extra


def _printers(snapshot: Snapshot, changes: Changes) -> tuple[PrinterNow, ...]:
    printers = [_printer(snapshot, printer, changes) for printer in snapshot.printers]
    by_id = {printer.id: printer for printer in snapshot.printers}
    material, colour = _most_wanted(snapshot)
    for place, like in enumerate(changes.added):
        if like in by_id:
            added = replace(
                by_id[like],
                id=-1 - place,
                name=f"{by_id[like].name} {place + 2}",
                may_run_unattended=False,
                material=material,
                colour=colour,
                spool_g=snapshot.rules.new_spool_g,
                outages=(),
                running=None,
            )
            printers.append(added)
    return tuple(printers)


def _printer(snapshot: Snapshot, printer: PrinterNow, changes: Changes) -> PrinterNow:
    outages = printer.outages
    if printer.id in changes.back:
        outages = tuple(
            (since, until, reason)
            for since, until, reason in outages
            if since > snapshot.now or (until is not None and until <= snapshot.now)
        )
    if printer.id in changes.out:  # what prints there now goes to its end
        since = printer.running.expected_end_at if printer.running else snapshot.now
        outages = (*outages, (max(since, snapshot.now), None, "as tried"))
    may = printer.may_run_unattended
    if changes.unattended is not None and snapshot.rules.unattended_allowed:
        may = printer.id in changes.unattended
    return replace(printer, outages=outages, may_run_unattended=may)


def _most_wanted(snapshot: Snapshot) -> tuple[str, str]:
    """The filament most grams of which are wanted."""
    wanted: dict[tuple[str, str], float] = {}
    for copy in snapshot.copies.values():
        key = (copy.material, copy.colour)
        wanted[key] = wanted.get(key, 0.0) + copy.source.mass_g
    return max(wanted, key=lambda key: (wanted[key], key), default=("PLA", ""))


def _with_infill(copies: Mapping[int, WantedCopy], changes: Changes) -> dict[int, WantedCopy]:
    found = dict(copies)
    for pk, copy in copies.items():
        if copy.assignment_id in changes.infill:
            settings = json.loads(copy.settings) | {"infill_share": changes.infill[copy.assignment_id]}
            found[pk] = replace(copy, settings=json.dumps(settings, sort_keys=True))
    return found


def _with_spares(copies: dict[int, WantedCopy], changes: Changes) -> dict[int, WantedCopy]:
    """So many more copies of each part of each team that still waits for one."""
    last = max((copy.rank[2] for copy in copies.values()), default=0)
    new_id = -1
    firsts: dict[tuple[str | None, str], WantedCopy] = {}
    for copy in copies.values():
        if copy.kit_id is not None and copy.assignment_id in changes.spares:
            firsts.setdefault((copy.kit_id, copy.source.key), copy)
    for copy in firsts.values():
        for more in range(changes.spares[copy.assignment_id]):
            rank = (True, copy.rank[1], last + 1 + more)
            copies[new_id] = replace(copy, id=new_id, rank=rank, spare=True)
            new_id -= 1
    return copies


def _kit(kit: KitNeed, changes: Changes, meeting_of: Mapping[int, int]) -> KitNeed:
    meeting = meeting_of.get(int(kit.id.partition(":")[0]))
    at = changes.meetings.get(meeting) if meeting is not None else None
    return kit if at is None else replace(kit, deadline=at)
