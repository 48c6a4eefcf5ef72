"""Tells the team where each part of its kit is, from the queue to the tray."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import Assignment, Team
from printing.chance import in_100
from printing.models import PrintCopy, PrintRequest, RoomPlan
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


def of_team(team: Team, assignment: Assignment) -> list[PartProgress]:
    """One entry for each part of the team that was ordered and not cancelled, in the order of the kit."""
    copies = (
        PrintCopy.objects.filter(request__team=team, request__assignment=assignment)
        .exclude(state=CopyState.CANCELLED)
        .select_related("request__kit_part", "plate__printer")
        .defer("request__kit_part__report", "request__kit_part__picture")
        .order_by("request__kit_part__position", "request_id", "id")
    )
    by_request: dict[int, list[PrintCopy]] = {}
    for copy in copies:
        by_request.setdefault(copy.request_id, []).append(copy)
    if not by_request:
        return []
    chance = _chance_in_100(team, assignment)
    return [replace(_progress(each[0].request, each, team), chance_in_100=chance) for each in by_request.values()]


def _chance_in_100(team: Team, assignment: Assignment) -> int | None:
    """The forecast's chance that this team has everything in time, from the plan in force."""
    plan = RoomPlan.objects.filter(room__school_id=assignment.school_class.school_id).first()
    kits = plan.facts.get("kits", []) if plan else []
    mine = next((kit for kit in kits if (kit["assignment"], kit["team"]) == (assignment.pk, team.pk)), None)
    return in_100(mine.get("chance")) if mine else None


def _progress(request: PrintRequest, copies: Sequence[PrintCopy], team: Team) -> PartProgress:
    slowest = min(copies, key=lambda copy: ORDER.index(CopyState(copy.state)))
    state = CopyState(slowest.state)
    done = sum(copy.state == CopyState.IN_TRAY for copy in copies)
    kind, icon = MARKS[state]
    return PartProgress(
        kit_part=request.kit_part,
        submission_id=request.submission_id,
        copies=len(copies),
        done_copies=done,
        state=_word(state, slowest, team),
        mark_kind=kind,
        icon=icon,
        note=_note(state, copies, done),
        likely_ready_at=_ready_at(copies),
        stage=STAGES[state],
    )


def _word(state: CopyState, copy: PrintCopy, team: Team) -> str:
    if state == CopyState.IN_TRAY:
        return _("in tray %(tray)s") % {"tray": team.tray}
    if state == CopyState.PRINTING and copy.plate and copy.plate.printer:
        return _("printing on %(printer)s") % {"printer": copy.plate.printer}
    if state == CopyState.PLANNED and copy.plate and copy.plate.printer:
        return _("planned on %(printer)s") % {"printer": copy.plate.printer}
    return _("waiting for a printer")


def _note(state: CopyState, copies: Sequence[PrintCopy], done: int) -> str:
    parts = []
    plates = sorted({copy.plate.number for copy in copies if copy.plate and copy.state != CopyState.IN_TRAY})
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


def _ready_at(copies: Sequence[PrintCopy]) -> datetime | None:
    """When the last copy is, or by the plan will be, in the tray; None while a copy has no place in the plan."""
    times: list[datetime] = []
    for copy in copies:
        at = copy.in_tray_at if copy.state == CopyState.IN_TRAY else copy.plate.cleared_at if copy.plate else None
        if at is None:
            return None
        times.append(at)
    latest = max(times)
    waits = any(copy.state != CopyState.IN_TRAY for copy in copies)
    return max(latest, timezone.now()) if waits else latest
