"""What the room does when somebody changes print settings."""

from __future__ import annotations

from django.db import transaction

from lessons.models import Assignment, KitPart
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.models import PrintRequest, Room
from printing.states import CopyState


@transaction.atomic
def plan_with_new_settings(kit_part: KitPart, assignment: Assignment | None) -> None:
    """The print settings of a kit part changed, everywhere or in one class: plan every room where copies of it wait.
    Plates whose file was taken stay as they were prepared."""
    waiting = PrintRequest.objects.filter(kit_part=kit_part, copies__state__in=[CopyState.WAITING, CopyState.PLANNED])
    if assignment is not None:
        waiting = waiting.filter(assignment=assignment)
    for room in Room.objects.filter(pk__in=waiting.values("room")):
        touch(room.pk)
        want_plan(room, cause("settings", part=kit_part.name))
