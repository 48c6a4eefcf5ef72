"""The job that plans a room: read, choose, and hand back the function that writes.

After a change the arrangement in force is planned at once and published, so that the bench has its next start; a better
plan is then looked for in a job of its own, and what may still go wrong in another.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.work.actions import set_progress
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp
from printing.actions.ground import PLAN_ROOM, want_better_plan, want_outlook, want_plan
from printing.causes import merged
from printing.models import Room, RoomPlan
from printing.planner.choose import Choice, choose, first_answer
from printing.planner.estimates import Estimates
from printing.planner.order import moved_up
from printing.planner.publish import publish
from printing.planner.snapshot import take_snapshot
from printing.planner.values import Snapshot

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
    choice = None if job.payload.get("force") else first_answer(snapshot, estimates, moved_up=moved_up(causes(job)))
    if choice is None:
        choice = choose(snapshot, estimates, lambda share: set_progress(job, share))
    write = _writer(job, snapshot, estimates, choice, time.perf_counter() - begun)

    def write_or_again() -> None:
        if write() is None:
            log.info("room %s has changed while it was planned; planned again", room.pk)
            want_plan(room, *causes(job))

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
    why = causes(job)

    def write() -> RoomPlan | None:
        estimates.keep()
        made = publish(snapshot, choice, why, seconds)
        if made is not None and choice.is_first_answer:
            want_better_plan(made.room, why)
        elif made is not None:
            want_outlook(made)
        return made

    return write


def is_planned(room: Room) -> bool:
    """Whether the newest plan was made for the room as it stands."""
    newest = RoomPlan.objects.filter(room=room).first()
    return newest is not None and newest.facts.get("revision") == room.revision


def causes(job: Job) -> list[dict[str, Any]]:
    """Why the room is planned: this job's causes and those of the jobs behind it, which this plan settles too."""
    waiting = Job.objects.filter(kind=PLAN_ROOM, subject=job.subject, state=Job.State.WAITING).order_by("id")
    return merged(each for row in (job, *waiting) for each in row.payload.get("causes", []))
