"""The job that plans a room: read, choose, and hand back the function that writes."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.work.actions import set_progress
from makerlab.work.models import Job
from makerlab.work.registry import GiveUp
from printing.actions.ground import CAUSE_MAX, PLAN_ROOM, want_plan
from printing.models import Room, RoomPlan
from printing.planner.choose import choose
from printing.planner.estimates import Estimates
from printing.planner.publish import publish
from printing.planner.snapshot import take_snapshot

CAUSES_TOLD = 2
log = logging.getLogger("makerlab.printing")


def plan(job: Job) -> Callable[[], None]:
    """Plan the room of the job. What it computes is written only if the room is still at the same revision;
    otherwise the room is planned again."""
    begun = time.perf_counter()
    room = Room.objects.filter(pk=job.subject).first()
    if room is None:
        raise GiveUp(_("The room is gone."))
    cause = causes(job)
    if is_planned(room) and not job.payload.get("force"):
        return lambda: None
    snapshot = take_snapshot(room.pk, timezone.now())
    estimates = Estimates(snapshot)
    choice = choose(snapshot, estimates, lambda share: set_progress(job, share))
    seconds = time.perf_counter() - begun

    def write() -> None:
        estimates.keep()
        made = publish(snapshot, choice, cause, seconds)
        if made is None:
            log.info("room %s has changed while it was planned; planned again", room.pk)
            want_plan(room, cause)

    return write


def is_planned(room: Room) -> bool:
    """Whether the newest plan was made for the room as it stands."""
    newest = RoomPlan.objects.filter(room=room).first()
    return newest is not None and newest.facts.get("revision") == room.revision


def causes(job: Job) -> str:
    """Why the room is planned: this job's cause and those of the jobs behind it, which this plan settles too."""
    waiting = Job.objects.filter(kind=PLAN_ROOM, subject=job.subject, state=Job.State.WAITING).order_by("id")
    found = [job.payload.get("cause", ""), *(each.payload.get("cause", "") for each in waiting)]
    different = list(dict.fromkeys(filter(None, found)))
    if len(different) > CAUSES_TOLD:
        return f"{different[0]}, and {len(different) - 1} more changes"[:CAUSE_MAX]
    return "; ".join(different)[:CAUSE_MAX]
