"""The job that plans a room: read, choose, and hand back the function that writes.

After a change the arrangement in force is planned at once and published, so that the bench has its next start; a better
plan is then looked for in a job of its own, and what may still go wrong in another.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.work.actions import set_progress
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp
from printing.actions.ground import CAUSE_MAX, PLAN_ROOM, want_better_plan, want_outlook, want_plan
from printing.models import Room, RoomPlan
from printing.planner.choose import Choice, choose, first_answer
from printing.planner.estimates import Estimates
from printing.planner.publish import publish
from printing.planner.snapshot import take_snapshot
from printing.planner.values import Snapshot

CAUSES_TOLD = 2
log = logging.getLogger("makerlab.printing")


def plan(job: Job) -> Apply:
    """Plan the room of the job: the first answer where there is a plan to start from, else the best found. What it
    computes is written only if the room is still at the same revision; otherwise the room is planned again."""
    begun = time.perf_counter()
    room = _room_of(job)
    if is_planned(room) and not job.payload.get("force"):
        return lambda: None
    snapshot = take_snapshot(room.pk, timezone.now())
    estimates = Estimates(snapshot)
    choice = None if job.payload.get("force") else first_answer(snapshot, estimates)
    if choice is None:
        choice = choose(snapshot, estimates, lambda share: set_progress(job, share))
    write = _writer(job, snapshot, estimates, choice, time.perf_counter() - begun)

    def write_or_again() -> None:
        if write() is None:
            log.info("room %s has changed while it was planned; planned again", room.pk)
            want_plan(room, causes(job))

    return write_or_again


def improve(job: Job) -> Apply:
    """Look for a better plan than the first answer; given up when the room changes meanwhile: that change has a job of
    its own, and a better plan is looked for after it."""
    begun = time.perf_counter()
    room = _room_of(job)
    snapshot = take_snapshot(room.pk, timezone.now())
    if not is_planned(room):
        return lambda: None
    estimates = Estimates(snapshot)
    choice = choose(snapshot, estimates, lambda share: set_progress(job, share))
    write = _writer(job, snapshot, estimates, choice, time.perf_counter() - begun)

    def write_if_still() -> None:
        write()

    return write_if_still


def _room_of(job: Job) -> Room:
    room: Room | None = Room.objects.filter(pk=job.subject).first()
    if room is None:
        raise GiveUp(_("The room is gone."))
    return room


def _writer(
    job: Job, snapshot: Snapshot, estimates: Estimates, choice: Choice, seconds: float
) -> Callable[[], RoomPlan | None]:
    """Writes the plan and asks for what follows it; None when the room has changed."""
    cause = causes(job)

    def write() -> RoomPlan | None:
        estimates.keep()
        made = publish(snapshot, choice, cause, seconds)
        if made is not None and choice.is_first_answer:
            want_better_plan(made.room, cause)
        elif made is not None:
            want_outlook(made)
        return made

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
