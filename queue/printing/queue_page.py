"""Rows of the queue page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch
from django.utils.translation import gettext as _

from lessons.models import Assignment, SchoolClass
from makerlab.accounts.models import User
from makerlab.components.marks import COPIES
from printing.models import PrintCopy, PrintRequest, Room, RoomPlan
from printing.reasons import words
from printing.states import CopyState

OPEN = (CopyState.WAITING, CopyState.PLANNED)
UNDER_WAY = (*OPEN, CopyState.PRINTING)


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
    is_held: bool
    is_first: bool
    is_last: bool


def queue_rows(user: User, room: Room, plan: RoomPlan | None) -> list[QueueRow]:
    """Requests of the classes this person may see that are not all in the tray, in the order of the queue."""
    under_way = PrintCopy.objects.filter(request=OuterRef("pk"), state__in=UNDER_WAY)
    # asked apart: in one question PostgreSQL reads the lessons and teams of all schools
    keys = PrintRequest.objects.visible_to(user).filter(Exists(under_way), room=room).values_list("pk", flat=True)
    requests = (
        PrintRequest.objects.filter(pk__in=list(keys.order_by()))
        .select_related("kit_part", "team", "submission", "assignment__school_class", "assignment__meeting")
        .defer("kit_part__report", "kit_part__picture", "submission__report", "submission__picture")
        .prefetch_related(Prefetch("copies", PrintCopy.objects.select_related("plate")))
        .order_by("rank", "id")
    )
    reasons = plan.facts.get("unplaced", {}) if plan else {}
    shown = [(request, _wanted(request)) for request in requests]
    movable = [request.pk for request, copies in shown if any(copy.state in OPEN for copy in copies)]
    may = user.is_teacher or user.is_administrator  # whoever of them sees a request may order it
    return [_row(request, copies, reasons, movable, may) for request, copies in shown]


@dataclass(frozen=True)
class Place:
    """In which room an assignment is printed, and the others it could be printed in."""

    assignment: Assignment
    room: Room
    others: tuple[Room, ...]


def places(user: User, rooms: Sequence[Room], now: datetime) -> list[Place]:
    """Of assignments whose lab day is still to come, where this person may order and the school has several rooms."""
    if len(rooms) < 2 or not (user.is_teacher or user.is_administrator):
        return []
    assignments = (
        Assignment.objects.visible_to(user)
        .filter(school_class__in=SchoolClass.objects.editable_by(user), meeting__starts_at__gt=now)
        .select_related("school_class", "plan", "meeting", "print_room")
        .order_by("meeting__starts_at", "pk")
    )
    by_id = {room.pk: room for room in rooms}
    found = []
    for assignment in assignments:
        chosen = getattr(assignment, "print_room", None)
        room = by_id.get(chosen.room_id, rooms[0]) if chosen else rooms[0]
        found.append(Place(assignment, room, tuple(other for other in rooms if other != room)))
    return found


def _wanted(request: PrintRequest) -> list[PrintCopy]:
    return [copy for copy in request.copies.all() if copy.state != CopyState.CANCELLED]


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
    waiting = [str(copy.pk) for copy in copies if copy.state == CopyState.WAITING]
    why = {words(reasons[key]) for key in waiting if key in reasons}
    why |= {copy.plate.why_unplanned for copy in copies if copy.plate and copy.plate.unplanned_because}
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
        is_held=request.held,
        is_first=bool(movable) and request.pk == movable[0],
        is_last=bool(movable) and request.pk == movable[-1],
    )


def _mark(state: str, count: int, of: int) -> tuple[str, str, str]:
    kind, icon, text = COPIES[state]
    words = str(text) if count == of else _("%(count)d %(state)s") % {"count": count, "state": text}
    return (kind, icon, words)
