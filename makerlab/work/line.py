"""Where a waiting job stands in its line, and how long that may take."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import Avg, F, Q

from makerlab.work.models import Job

State = Job.State
LOOKED_AT = 30  # finished jobs from which the time of one is taken


def place_in_line(job: Job) -> int:
    """How many jobs of the lane are done or started before this one starts; 0 when it is running or next."""
    if job.state != State.WAITING:
        return 0
    same = Q(state=State.WAITING, priority=job.priority)
    ahead = Job.objects.filter(lane=job.lane).filter(
        Q(state=State.RUNNING)
        | Q(state=State.WAITING, priority__lt=job.priority)
        | same & Q(turn__lt=job.turn)
        | same & Q(turn=job.turn, pk__lt=job.pk)
    )
    return ahead.count()


def open_jobs(lane: str) -> int:
    """How many jobs of the lane wait or run."""
    return Job.objects.filter(lane=lane, state__in=(State.WAITING, State.RUNNING)).count()


def expected_wait(job: Job, ahead: int) -> timedelta | None:
    """How long until a job with so many ahead of it starts, at the pace of the lane's last jobs: their mean time,
    shared by as many workers as are busy now. None where no job of the lane has been finished yet."""
    mean = mean_time(job.lane)
    if mean is None:
        return None
    return mean * ahead / max(1, Job.objects.filter(lane=job.lane, state=State.RUNNING).count())


def mean_time(lane: str) -> timedelta | None:
    """How long the lane's last jobs took, each its last try; None where none has been finished yet."""
    done = Job.objects.filter(lane=lane, state=State.DONE, started_at__isnull=False)
    last = done.order_by("-finished_at")[:LOOKED_AT].values("pk")
    times = Job.objects.filter(pk__in=list(last.values_list("pk", flat=True)))
    mean: timedelta | None = times.aggregate(mean=Avg(F("finished_at") - F("started_at")))["mean"]
    return mean
