"""Where a waiting job stands in its line, and how long that may take."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Count, Q, QuerySet

from makerlab.prepared import Prepared
from makerlab.work.models import Job

State = Job.State
LOOKED_AT = 30  # finished jobs from which the time of one is taken


def place_in_line(job: Job) -> int:
    """How many jobs of the lane are done or started before this one starts; 0 when it is running or next."""
    if job.state != State.WAITING:
        return 0
    return _ahead.first(job.lane, job.priority, job.turn, job.pk) or 0


@Prepared
def _ahead(lane: str, priority: int, turn: int, pk: int) -> QuerySet[Job, int]:
    same = Q(state=State.WAITING, priority=priority)
    ahead = Job.objects.filter(lane=lane).filter(
        Q(state=State.RUNNING)
        | Q(state=State.WAITING, priority__lt=priority)
        | same & Q(turn__lt=turn)
        | same & Q(turn=turn, pk__lt=pk)
    )
    return _counted(ahead)


def _counted(jobs: QuerySet[Job]) -> QuerySet[Job, int]:
    """How many jobs of one lane these are; no row where there are none."""
    counted = jobs.order_by().values("lane").annotate(jobs=Count("pk"))
    found: QuerySet[Job, int] = counted.values_list("jobs", flat=True)
    return found


@Prepared
def _open(lane: str) -> QuerySet[Job, int]:
    return _counted(Job.objects.filter(lane=lane, state__in=(State.WAITING, State.RUNNING)))


@Prepared
def _running(lane: str) -> QuerySet[Job, int]:
    return _counted(Job.objects.filter(lane=lane, state=State.RUNNING))


def open_jobs(lane: str) -> int:
    """How many jobs of the lane wait or run."""
    return _open.first(lane) or 0


def expected_wait(job: Job, ahead: int) -> timedelta | None:
    """How long until a job with so many ahead of it starts, at the pace of the lane's last jobs: their mean time,
    shared by as many workers as are busy now. None where no job of the lane has been finished yet."""
    mean = mean_time(job.lane)
    if mean is None:
        return None
    return mean * ahead / max(1, _running.first(job.lane) or 0)


def mean_time(lane: str) -> timedelta | None:
    """How long the lane's last jobs took, each its last try; None where none has been finished yet."""
    times = [finished - started for started, finished in _last_done(lane) if started and finished]
    return sum(times, timedelta()) / len(times) if times else None


@Prepared
def _last_done(lane: str) -> QuerySet[Job, tuple[datetime | None, datetime | None]]:
    done = Job.objects.filter(lane=lane, state=State.DONE, started_at__isnull=False)
    return done.order_by("-finished_at").values_list("started_at", "finished_at")[:LOOKED_AT]
