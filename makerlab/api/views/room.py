"""Rooms with their printers, the queue, and the plan in force."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, Any, Literal

from django.db.models import Prefetch
from ninja import Router, Schema
from ninja.responses import Status
from pydantic import Field

from makerlab.api.door import ApiRequest
from makerlab.api.scopes import Scope
from makerlab.api.views.common import LARGEST, Key, Limit, Offset, Revision, Sent, minutes, needs, one
from printing import actions
from printing.models import Plate, Printer, PrintRequest, Room, RoomPlan
from printing.states import CopyState, PlateState

router = Router(tags=["room"])


class PrinterOut(Schema):
    id: int
    name: str
    kind: str


class RoomOut(Schema):
    id: int
    name: str
    revision: int
    printers: list[PrinterOut]


class CopiesOut(Schema):
    """How many copies stand where."""

    waiting: int
    planned: int
    printing: int
    in_tray: int
    cancelled: int


class RequestOut(Schema):
    """A part wanted for a meeting. ``team`` is null for class spares, ``submission`` for parts nobody redesigns."""

    id: int
    rank: int
    assignment: int
    kit_part: int
    team: int | None
    submission: int | None
    held: bool
    is_urgent: bool
    copies: CopiesOut


class QueueOut(Schema):
    """``queue_version`` is sent along when moving; ``revision`` grows with every change of the room. ``next`` is the
    ``offset`` of the rest."""

    room: int
    revision: int
    queue_version: int
    requests: list[RequestOut]
    next: int | None


class PlateOut(Schema):
    """A plate that is planned or printing. Without times the plan found no place: then ``unplanned_because`` says
    why; ``print_minutes`` is what its printer takes."""

    id: int
    number: int
    state: str
    material: str
    colour: str
    mass_g: float
    print_minutes: float | None
    printer: int | None
    setup_at: datetime | None
    starts_at: datetime | None
    ends_at: datetime | None
    cleared_at: datetime | None
    unplanned_because: str
    held: bool
    copies: list[int]


class PlanOut(Schema):
    """The plan in force. ``plan`` is null until a first one was made; ``tardiness_minutes`` is over all kits."""

    room: int
    revision: int
    plan: int | None
    made_at: datetime | None
    late_kits: int | None
    tardiness_minutes: float | None
    plates: list[PlateOut]


@router.get("/rooms", response=list[RoomOut], url_name="room-list", **needs())
def room_list(request: ApiRequest) -> list[dict[str, Any]]:
    """The school's rooms with their printers."""
    printers = Prefetch("printers", Printer.objects.visible_to(request.user).select_related("kind"))
    rooms = Room.objects.visible_to(request.user).prefetch_related(printers).order_by("pk")
    return [
        {
            "id": room.pk,
            "name": room.name,
            "revision": room.revision,
            "printers": [{"id": each.pk, "name": each.name, "kind": each.kind.name} for each in room.printers.all()],
        }
        for room in rooms
    ]


@router.get("/rooms/{pk}/queue", response={200: QueueOut, 204: None}, url_name="room-queue", **needs(Scope.QUEUE_READ))
def room_queue(
    request: ApiRequest, pk: Key, since: Revision = None, limit: Limit = 50, offset: Offset = 0
) -> Status[Any]:
    """Print requests in their order, of the classes you see; 204 while the room is at ``since``."""
    room: Room = one(Room.objects.visible_to(request.user), pk)
    if since == room.revision:
        return Status(204, None)
    rows = PrintRequest.objects.visible_to(request.user).filter(room=room).order_by("rank", "id")
    found = list(rows.prefetch_related("copies")[offset : offset + limit + 1])
    return Status(
        200,
        {
            "room": room.pk,
            "revision": room.revision,
            "queue_version": room.queue_version,
            "requests": [request_out(row) for row in found[:limit]],
            "next": offset + limit if len(found) > limit else None,
        },
    )


def request_out(row: PrintRequest) -> dict[str, Any]:
    """A print request as the interface tells it."""
    counts = Counter(copy.state for copy in row.copies.all())
    return {
        "id": row.pk,
        "rank": row.rank,
        "assignment": row.assignment_id,
        "kit_part": row.kit_part_id,
        "team": row.team_id,
        "submission": row.submission_id,
        "held": row.held,
        "is_urgent": bool(row.urgent_because),
        "copies": {state: counts[state] for state in CopyState.values},
    }


@router.get("/rooms/{pk}/plan", response={200: PlanOut, 204: None}, url_name="room-plan", **needs(Scope.PLAN_READ))
def room_plan(request: ApiRequest, pk: Key, since: Revision = None) -> Status[Any]:
    """Plates that are planned or printing, with printer and times; 204 while the room is at ``since``."""
    room: Room = one(Room.objects.visible_to(request.user), pk)
    if since == room.revision:
        return Status(204, None)
    plan = RoomPlan.objects.visible_to(request.user).filter(room=room).first()
    plates = Plate.objects.visible_to(request.user).filter(room=room).exclude(state=PlateState.CLEARED)
    return Status(
        200,
        {
            "room": room.pk,
            "revision": room.revision,
            "plan": plan.pk if plan else None,
            "made_at": plan.made_at if plan else None,
            "late_kits": plan.late_kits if plan else None,
            "tardiness_minutes": plan.tardiness_min if plan else None,
            "plates": _plates(plates.prefetch_related("copies").order_by("number")),
        },
    )


def _plates(rows: Iterable[Plate]) -> list[dict[str, Any]]:
    same = (
        "number", "state", "material", "colour", "mass_g", "setup_at", "starts_at", "ends_at", "cleared_at", "held",
    )  # fmt: skip
    return [
        {
            **{name: getattr(row, name) for name in same},
            "id": row.pk,
            "printer": row.printer_id,
            "print_minutes": minutes(row.durations_s.get(str(row.printer_id))),
            "unplanned_because": row.why_unplanned,
            "copies": [copy.pk for copy in row.copies.all()],
        }
        for row in rows
    ]


class MoveIn(Sent):
    """By one place among the requests you may order. ``queue_version`` is the one you saw: when the queue has changed
    since, nothing is moved."""

    direction: Literal["up", "down"]
    queue_version: Annotated[int, Field(ge=0, le=LARGEST)]


class MovedOut(Schema):
    queue_version: int


class CancelledOut(Schema):
    """How many copies are no longer wanted."""

    cancelled: int


def own_request(request: ApiRequest, pk: int) -> PrintRequest:
    """A print request this token's owner sees."""
    rows = PrintRequest.objects.visible_to(request.user).select_related("room", "assignment__school_class", "kit_part")
    found: PrintRequest = one(rows, pk)
    return found


@router.post("/requests/{pk}/move", response=MovedOut, url_name="request-move", **needs(Scope.QUEUE_WRITE))
def request_move(request: ApiRequest, pk: Key, told: MoveIn) -> dict[str, int]:
    """Move a print request of your class up or down; the room is planned again."""
    row = own_request(request, pk)
    return {"queue_version": actions.move_request(row, request.user, told.direction, told.queue_version)}


@router.post("/requests/{pk}/cancel", response=CancelledOut, url_name="request-cancel", **needs(Scope.QUEUE_WRITE))
def request_cancel(request: ApiRequest, pk: Key) -> dict[str, int]:
    """Cancel the copies of a print request that are not printing yet."""
    return {"cancelled": actions.cancel_copies(own_request(request, pk), request.user)}
