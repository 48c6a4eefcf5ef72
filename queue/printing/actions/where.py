"""In which of the school's rooms the parts of an assignment are printed."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction
from django.db.models import F, Max, Q
from django.utils.translation import gettext as _

from lessons.models import Assignment
from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.models import AssignmentRoom, PrintCopy, PrintRequest, Room
from printing.states import CopyState, NotAllowedNow


@dataclass(frozen=True)
class Moved:
    """How many requests went over, and how many stay where they are, not all printed: begun, or their file taken."""

    over: int
    stay: int


@transaction.atomic
def print_in(assignment: Assignment, actor: User, room: Room) -> Moved:
    """Print what is still to be printed of the assignment, and what will be ordered, in that room; it goes to the end
    of the queue there. Raises NotAllowedNow when all of it is printed there already."""
    permissions.check_can_choose_room(actor, assignment, room)
    elsewhere = PrintRequest.objects.filter(assignment=assignment).exclude(room=room)
    before = list(Room.objects.filter(requests__in=elsewhere).distinct())
    for each in sorted({room, *before}, key=lambda each: each.pk):  # one order, so that no two lock crosswise
        touch(each.pk)
        Room.objects.filter(pk=each.pk).update(queue_version=F("queue_version") + 1)
    was = Room.objects.for_assignment(assignment)
    rows = list(elsewhere.order_by("rank", "id"))
    if was == room and not rows:
        raise NotAllowedNow(
            _("%(class)s is printed in %(room)s already.") % {"class": assignment.school_class, "room": room}
        )
    AssignmentRoom.objects.update_or_create(assignment=assignment, defaults={"room": room})
    begun = Q(copies__state__in=[CopyState.PRINTING, CopyState.IN_TRAY]) | Q(copies__plate__held=True)
    fixed = set(elsewhere.filter(begun).values_list("pk", flat=True))
    free = [row for row in rows if row.pk not in fixed]
    _to_the_end(free, room)
    ended = [CopyState.IN_TRAY, CopyState.CANCELLED]
    left = PrintCopy.objects.filter(request__in=fixed).exclude(state__in=ended).values("request").distinct().count()
    record(room.school_id, actor, "print_in", assignment, room=room.pk, over=len(free), stay=left)
    if free:
        for each in {room, *before}:
            want_plan(each, cause("to_room", group=assignment.school_class, room=room))
    return Moved(len(free), left)


def _to_the_end(rows: list[PrintRequest], room: Room) -> None:
    """In their order, behind what waits there; their copies leave the plates they were planned on."""
    last = PrintRequest.objects.filter(room=room).aggregate(last=Max("rank"))["last"]
    for rank, row in enumerate(rows, start=0 if last is None else last + 1):
        row.room, row.rank = room, rank
    PrintRequest.objects.bulk_update(rows, ["room", "rank"])
    planned = PrintCopy.objects.filter(request__in=rows, state=CopyState.PLANNED)
    planned.update(state=CopyState.WAITING, plate=None, place=None, x_mm=None, y_mm=None, turn_deg=0.0)
