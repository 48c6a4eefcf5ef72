"""Life of a job: enqueue, claim, finish, fail, sweep. Every step is one conditional UPDATE."""

from __future__ import annotations

import logging
import os
import socket
from datetime import timedelta
from functools import lru_cache
from typing import Any

import psutil
from django.conf import settings
from django.db import transaction
from django.utils import timezone

from makerlab.work.models import Job
from makerlab.work.registry import HANDLERS, Apply, GiveUp, Handler

log = logging.getLogger("makerlab.work")

ATTEMPTS_MAX = 3
LEASE_MARGIN_S = 10
State = Job.State


@lru_cache(maxsize=8)
def worker_name(process_id: int) -> str:
    """Name of this worker process: host, process id and its start, so that a reused id is not mistaken for it."""
    return f"{socket.gethostname()}:{process_id}:{psutil.Process(process_id).create_time():.2f}"


def is_gone(worker: str) -> bool:
    """True only when the worker ran on this host and its process no longer does."""
    host, _, rest = worker.partition(":")
    process_id, _, started = rest.partition(":")
    if host != socket.gethostname() or not process_id.isdigit():
        return False
    try:
        process = psutil.Process(int(process_id))
        return bool(abs(process.create_time() - float(started)) > 1 or process.status() == psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return True


def enqueue(kind: str, subject: object, school_id: int, *, priority: int = 0, **payload: Any) -> Job:
    """Write the job in the caller's transaction and ring the bell when that commits.

    A job of the same kind and subject that still waits is returned instead of a second one.
    """
    handler = HANDLERS[kind]
    with transaction.atomic():
        waiting = Job.objects.filter(kind=kind, subject=str(subject), state=State.WAITING, payload=payload).first()
        job = waiting or Job.objects.create(
            kind=kind, lane=handler.lane, subject=str(subject), school_id=school_id, priority=priority, payload=payload
        )
        transaction.on_commit(lambda: ring(job.pk))
    return job


def ring(job_id: int) -> None:
    """Tell the Celery workers, where there are any. A lost ring costs five seconds: the sweeper rings again."""
    if not settings.REDIS_URL:
        return
    # imported here: the embedded profile never loads Celery
    from kombu.exceptions import OperationalError

    from makerlab.work.tasks import run_job

    try:
        run_job.delay(job_id)
    except OperationalError:
        log.warning("broker not reached; job %s waits for the sweeper", job_id)


def claim(lane: str | None = None, job_id: int | None = None) -> Job | None:
    """Take the next waiting job, or the given one, if nobody else was quicker."""
    now = timezone.now()
    waiting = Job.objects.filter(state=State.WAITING)
    if lane is not None:
        waiting = waiting.filter(lane=lane)
    if job_id is not None:
        waiting = waiting.filter(pk=job_id)
    for job in waiting.order_by("priority", "id")[:5]:
        handler = HANDLERS.get(job.kind)
        if handler is None:  # written by a newer release: leave it to a worker that knows it
            continue
        taken = Job.objects.filter(pk=job.pk, state=State.WAITING, attempt=job.attempt).update(
            state=State.RUNNING,
            attempt=job.attempt + 1,
            worker=worker_name(os.getpid()),
            lease_until=now + timedelta(seconds=handler.wall_s + LEASE_MARGIN_S),
            started_at=now,
            progress=0.0,
        )
        if taken:
            job.refresh_from_db()
            return job
    return None


def _mine(job: Job) -> Any:
    return Job.objects.filter(pk=job.pk, state=State.RUNNING, attempt=job.attempt)


def set_progress(job: Job, share: float) -> None:
    """Note how far the job is, 0 to 1; ignored when the job is no longer ours."""
    _mine(job).update(progress=min(1.0, max(0.0, share)))


def finish(job: Job, apply: Apply) -> bool:
    """Mark done and write the result in one transaction. False, and nothing written, when the job is no longer ours."""
    with transaction.atomic():
        if not _mine(job).update(state=State.DONE, progress=1.0, finished_at=timezone.now(), error=""):
            log.info("late result of %s refused", job)
            return False
        apply()
    return True


def fail(job: Job, message: str, *, final: bool) -> None:
    """Give the job back for another try, or, when ``final`` or tried often enough, mark it failed and say so."""
    handler = HANDLERS[job.kind]
    with transaction.atomic():
        if not final and job.attempt < ATTEMPTS_MAX:
            _mine(job).update(state=State.WAITING, lease_until=None, error=message)
        elif _mine(job).update(state=State.FAILED, lease_until=None, finished_at=timezone.now(), error=message):
            handler.failed(job, message)


def sweep() -> int:
    """Give back the jobs of workers that died or overran their lease, and ring for everything that waits.

    Returns how many jobs were given back or given up.
    """
    swept = 0
    now = timezone.now()
    for job in Job.objects.filter(state=State.RUNNING):
        if job.lease_until is not None and job.lease_until > now and not is_gone(job.worker):
            continue
        if job.kind in HANDLERS:
            fail(job, HANDLERS[job.kind].failed_message, final=False)
            swept += 1
    if settings.REDIS_URL:
        for job_id in (
            Job.objects.filter(state=State.WAITING).order_by("priority", "id").values_list("pk", flat=True)[:500]
        ):
            ring(job_id)
    return swept


def run(job: Job) -> None:
    """Do one claimed job to its end. Never raises: what went wrong is written on the job."""
    handler = HANDLERS[job.kind]
    try:
        apply = handler.work(job)
        finish(job, apply)
    except GiveUp as reason:
        fail(job, str(reason), final=True)
    except Exception:  # whatever a job does, the worker must live and the job must be given back
        log.exception("%s did not work", job)
        fail(job, handler.failed_message, final=False)


def run_waiting(lane: str | None = None) -> int:
    """Do everything that waits, in this process; for tests and for setting up the demo. Returns how many jobs ran."""
    done = 0
    while (job := claim(lane)) is not None:
        run(job)
        done += 1
    return done


__all__ = [
    "ATTEMPTS_MAX",
    "Handler",
    "claim",
    "enqueue",
    "fail",
    "finish",
    "run",
    "run_waiting",
    "set_progress",
    "sweep",
]
