"""Rows of the queue page."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.components.marks import COPIES
from printing.models import PrintCopy, PrintRequest, Room, RoomPlan
from printing.permissions import can_order
from printing.states import CopyState

OPEN = (CopyState.WAITING, CopyState.PLANNED)


@dataclass(frozen=True)
class QueueRow:
    """One request: where its copies stand, when they are ready, whether it can move."""

    request: PrintRequest
    marks: tuple[tuple[str, str, str], ...]
    plates: str
    ready_at: datetime | None
    deadline: datetime
    is_late: bool
    reason: str
    is_open: bool
    can_order: bool
    is_first: bool
    is_last: bool


def queue_rows(user: User, room: Room, plan: RoomPlan | None) -> list[QueueRow]:
    """Requests of the classes this person may see that are not all in the tray, in the order of the queue."""
    requests = (
        PrintRequest.objects.visible_to(user)
        .filter(room=room)
        .select_related("kit_part", "team", "submission", "assignment__school_class", "assignment__meeting")
        .defer("kit_part__report", "kit_part__picture", "submission__report", "submission__picture")
        .prefetch_related("copies__plate")
        .order_by("rank", "id")
    )
    reasons = plan.facts.get("unplaced", {}) if plan else {}
    shown = [(request, _wanted(request)) for request in requests]
    shown = [(request, copies) for request, copies in shown if _is_under_way(copies)]
    movable = [request.pk for request, copies in shown if any(copy.state in OPEN for copy in copies)]
    may = can_order(user, shown[0][0]) if shown else False
    return [_row(request, copies, reasons, movable, may) for request, copies in shown]


def _wanted(request: PrintRequest) -> list[PrintCopy]:
    return [copy for copy in request.copies.all() if copy.state != CopyState.CANCELLED]


def _is_under_way(copies: list[PrintCopy]) -> bool:
    return any(copy.state != CopyState.IN_TRAY for copy in copies)


def _row(
    request: PrintRequest, copies: list[PrintCopy], reasons: dict[str, Any], movable: list[int], may: bool
) -> QueueRow:
    counts = Counter(copy.state for copy in copies)
    ready = [
        copy.in_tray_at if copy.state == CopyState.IN_TRAY else copy.plate and copy.plate.cleared_at for copy in copies
    ]
    known = [moment for moment in ready if moment]
    ready_at = max(known) if len(known) == len(copies) and known else None
    deadline = request.assignment.meeting.starts_at
    why = {reasons[str(copy.pk)] for copy in copies if copy.state == CopyState.WAITING and str(copy.pk) in reasons}
    why |= {copy.plate.unplanned_because for copy in copies if copy.plate and copy.plate.unplanned_because}
    return QueueRow(
        request=request,
        marks=tuple(_mark(state, counts[state], len(copies)) for state in CopyState.values if counts[state]),
        plates=", ".join(
            f"P{number}"
            for number in sorted(
                {copy.plate.number for copy in copies if copy.plate and copy.state != CopyState.IN_TRAY}
            )
        ),
        ready_at=ready_at,
        deadline=deadline,
        is_late=ready_at is not None and request.team_id is not None and ready_at > deadline,
        reason=" ".join(sorted(why)),
        is_open=request.pk in movable,
        can_order=may,
        is_first=bool(movable) and request.pk == movable[0],
        is_last=bool(movable) and request.pk == movable[-1],
    )


def _mark(state: str, count: int, of: int) -> tuple[str, str, str]:
    kind, icon, text = COPIES[state]
    words = str(text) if count == of else _("%(count)d %(state)s") % {"count": count, "state": text}
    return (kind, icon, words)
