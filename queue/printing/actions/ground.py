"""What all verbs stand on: the room's revision, which is also its lock, and the wish for a new plan."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.work.actions import enqueue
from makerlab.work.models import Job
from printing import permissions
from printing.causes import Cause, cause, merged
from printing.models import Printer, Room, RoomPlan, Run
from printing.states import NotAllowedNow, Outcome

PLAN_ROOM = "plan-room"
IMPROVE_PLAN = "improve-plan"
PLAN_OUTLOOK = "plan-outlook"


def touch(room_id: int) -> None:
    """Count one change of the room. First in every transaction: the row stays locked to its end, so that two verbs in
    one room follow each other and nobody decides on what another is just changing."""
    Room.objects.filter(pk=room_id).update(revision=F("revision") + 1)


def want_plan(room: Room, *causes: Cause, **payload: bool) -> Job:
    """Have the room planned again once this transaction is written. The causes are told with the plan."""
    return enqueue(PLAN_ROOM, room.pk, room.school_id, causes=merged(causes), **payload)


def want_better_plan(room: Room, causes: Sequence[Cause]) -> Job:
    """Have a better plan looked for, beside the lane in which changes get their first answer."""
    return enqueue(IMPROVE_PLAN, room.pk, room.school_id, causes=merged(causes))


def want_outlook(plan: RoomPlan) -> Job:
    """Have worked out what would hurt this plan most, and what would help."""
    return enqueue(PLAN_OUTLOOK, plan.pk, plan.room.school_id, priority=5)


def check_idle(printer: Printer) -> None:
    """Raises NotAllowedNow while the printer prints."""
    running = Run.objects.filter(printer=printer, outcome=Outcome.RUNNING).select_related("plate").first()
    if running:
        raise NotAllowedNow(
            _("%(printer)s is printing %(plate)s. First say how that went.")
            % {"printer": printer, "plate": running.plate}
        )


@transaction.atomic
def plan_again(room: Room, actor: User) -> Job:
    """Plan the room anew although nothing changed: time has passed."""
    permissions.check_can_plan_again(actor, room)
    record(room.school_id, actor, "plan_again", room)
    return want_plan(room, cause("asked", actor), force=True)
