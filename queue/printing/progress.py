"""Tells the team where each part of its kit is, from the queue to the tray."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import Assignment, Team
from makerlab.prepared import Prepared
from printing.chance import in_100
from printing.models import PrintCopy, RoomPlan
from printing.states import CopyState
from submissions.progress import PartProgress, Stage

ORDER = (CopyState.WAITING, CopyState.PLANNED, CopyState.PRINTING, CopyState.IN_TRAY)  # slowest first
STAGES = {
    CopyState.WAITING: Stage.WAITING,
    CopyState.PLANNED: Stage.PLANNED,
    CopyState.PRINTING: Stage.PRINTING,
    CopyState.IN_TRAY: Stage.IN_TRAY,
}
MARKS = {
    CopyState.WAITING: ("plain", "s-wait"),
    CopyState.PLANNED: ("plain", "s-plan"),
    CopyState.PRINTING: ("live", "s-run"),
    CopyState.IN_TRAY: ("good", "s-done"),
}


class CopyRow(NamedTuple):
    """One copy as the database keeps it. ``ready_at``: when it came, or by the plan will come, into the tray, to the
    minute and never before now; None while it has no place in the plan."""

    request_id: int
    kit_part_id: int
    submission_id: int | None
    state: str
    tries: int
    plate_number: int | None
    printer: str | None
    ready_at: datetime | None


@Prepared
def _copies(team_id: int, assignment_id: int) -> models.QuerySet[PrintCopy, Any]:
    return (
        PrintCopy.objects.filter(request__team=team_id, request__assignment=assignment_id)
        .exclude(state=CopyState.CANCELLED)
        .order_by("request__kit_part__position", "request_id", "id")
        .values_list(
            "request_id", "request__kit_part", "request__submission", "state", "tries",
            "plate__number", "plate__printer__name", "in_tray_at", "plate__cleared_at",
        )
    )  # fmt: skip


def rows(team_id: int, assignment_id: int) -> list[CopyRow]:
    """The copies of the team that were ordered and not cancelled, in the order of the kit."""
    now = timezone.now().replace(second=0, microsecond=0)
    found = _copies(team_id, assignment_id)
    return [CopyRow._make((*told, _ready_at(told[3], came, cleared, now))) for *told, came, cleared in found]


def _ready_at(state: str, in_tray_at: datetime | None, cleared_at: datetime | None, now: datetime) -> datetime | None:
    if state == CopyState.IN_TRAY:
        return in_tray_at
    return max(cleared_at, now) if cleared_at else None


def told(rows: Sequence[CopyRow], team: Team, assignment: Assignment) -> list[PartProgress]:
    """One entry for each part of which there are copies."""
    by_request: dict[int, list[CopyRow]] = {}
    for row in rows:
        by_request.setdefault(row.request_id, []).append(row)
    if not by_request:
        return []
    chance = _chance_in_100(team, assignment)
    return [_progress(each, team, chance) for each in by_request.values()]


def _chance_in_100(team: Team, assignment: Assignment) -> int | None:
    """The forecast's chance that this team has everything in time, from the plan in force."""
    plan = RoomPlan.objects.filter(room__school_id=assignment.school_class.school_id).first()
    kits = plan.facts.get("kits", []) if plan else []
    mine = next((kit for kit in kits if (kit["assignment"], kit["team"]) == (assignment.pk, team.pk)), None)
    return in_100(mine.get("chance")) if mine else None


def _progress(copies: Sequence[CopyRow], team: Team, chance: int | None) -> PartProgress:
    slowest = min(copies, key=lambda copy: ORDER.index(CopyState(copy.state)))
    state = CopyState(slowest.state)
    done = sum(copy.state == CopyState.IN_TRAY for copy in copies)
    kind, icon = MARKS[state]
    return PartProgress(
        kit_part_id=slowest.kit_part_id,
        submission_id=slowest.submission_id,
        copies=len(copies),
        done_copies=done,
        state=_word(state, slowest, team),
        mark_kind=kind,
        icon=icon,
        note=_note(state, copies, done),
        likely_ready_at=_last_ready_at(copies),
        stage=STAGES[state],
        chance_in_100=chance,
    )


def _word(state: CopyState, copy: CopyRow, team: Team) -> str:
    if state == CopyState.IN_TRAY:
        return _("in tray %(tray)s") % {"tray": team.tray}
    if state == CopyState.PRINTING and copy.printer:
        return _("printing on %(printer)s") % {"printer": copy.printer}
    if state == CopyState.PLANNED and copy.printer:
        return _("planned on %(printer)s") % {"printer": copy.printer}
    return _("waiting for a printer")


def _note(state: CopyState, copies: Sequence[CopyRow], done: int) -> str:
    parts = []
    plates = sorted({copy.plate_number for copy in copies if copy.plate_number and copy.state != CopyState.IN_TRAY})
    if plates:
        parts.append(
            ngettext("plate %(plates)s", "plates %(plates)s", len(plates))
            % {"plates": ", ".join(f"P{number}" for number in plates)}
        )
    if done and state != CopyState.IN_TRAY:
        parts.append(_("%(done)s of %(all)s in the tray") % {"done": done, "all": len(copies)})
    again = sum(copy.tries > 0 and copy.state != CopyState.IN_TRAY for copy in copies)
    if again:
        parts.append(ngettext("%(count)s is printed again", "%(count)s are printed again", again) % {"count": again})
    return ", ".join(parts)


def _last_ready_at(copies: Sequence[CopyRow]) -> datetime | None:
    """When the last copy is, or by the plan will be, in the tray; None while a copy has no place in the plan."""
    times = [copy.ready_at for copy in copies if copy.ready_at]
    return max(times) if len(times) == len(copies) else None
