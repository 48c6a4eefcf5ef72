"""What the room's pages read together in one question: hours, work going on, outages, trays, lessons printed for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from lessons.models import Assignment, Team
from makerlab.accounts.models import User
from makerlab.together import rows_as, together, whole
from makerlab.work.models import Job
from printing import plan_trouble, queries
from printing.hours import Bells, bells_from, evenings_from, wanted_of
from printing.models import ExtraHours, Outage, PrintCopy, PrintRequest, Room, RoomPlan
from printing.states import CopyState, Outcome


@dataclass(frozen=True, slots=True)
class Given:
    """A lesson given to a class of the person's, with something ordered in the room."""

    school_class: str
    meeting_id: int
    starts_at: datetime


@dataclass(frozen=True)
class RoomRead:
    """``outages``: of each printer. ``trays``: of each plate that prints, where its copies belong. ``given``: by
    assignment. ``late_teams`` and ``unplaced``: what the plan does not serve (printing.plan_trouble)."""

    bells: Bells
    evenings: list[ExtraHours]
    jobs: dict[str, Job]
    outages: dict[int, list[Outage]]
    trays: dict[int, list[int]]
    given: dict[int, Given]
    late_teams: dict[int, Team]
    unplaced: list[tuple[Any, ...]]


def read_room(room: Room, user: User, plan: RoomPlan | None) -> RoomRead:
    """One query. ``plan``: the one in force."""
    ordered = PrintRequest.objects.filter(room=room).values("assignment")
    given = Assignment.objects.visible_to(user).filter(pk__in=ordered)
    going = {"plate__room": room, "plate__runs__outcome": Outcome.RUNNING, "state": CopyState.PRINTING}
    copies = PrintCopy.objects.filter(**going, request__team__isnull=False)
    found = together(
        **wanted_of(room),
        jobs=(queries.jobs_wanted(room, None), whole(Job)),
        outages=(Outage.objects.filter(printer__room=room), whole(Outage)),
        trays=(copies, ("plate_id", "request__team__tray")),
        late_teams=plan_trouble.teams_wanted(plan, user),
        unplaced=plan_trouble.copies_wanted(plan, user),
        given=(given, ("pk", "school_class__name", "meeting_id", "meeting__starts_at")),
    )
    return RoomRead(
        bells=bells_from(found, room),
        evenings=evenings_from(found),
        jobs=queries.jobs_by_kind(sorted(rows_as(Job, found["jobs"]), key=lambda job: job.pk)),
        outages=_by_printer(rows_as(Outage, found["outages"])),
        trays=_trays(found["trays"]),
        given={key: Given(*of) for key, *of in sorted(found["given"], key=lambda row: row[3])},
        late_teams=plan_trouble.teams_from(found["late_teams"]),
        unplaced=found["unplaced"],
    )


def _by_printer(outages: list[Outage]) -> dict[int, list[Outage]]:
    found: dict[int, list[Outage]] = {}
    for outage in sorted(outages, key=lambda each: each.since, reverse=True):
        found.setdefault(outage.printer_id, []).append(outage)
    return found


def _trays(rows: list[tuple[Any, ...]]) -> dict[int, list[int]]:
    found: dict[int, set[int]] = {}
    for plate_id, tray in rows:
        found.setdefault(plate_id, set()).add(tray)
    return {plate_id: sorted(trays) for plate_id, trays in found.items()}
