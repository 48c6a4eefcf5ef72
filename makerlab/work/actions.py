"""Life of a job: enqueue, claim, finish, fail, sweep. Every step is one conditional UPDATE."""

from __future__ import annotations

import json
import logging
import os
import socket
import time
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import psutil
from django.conf import settings
from django.db import DatabaseError, transaction
from django.db.models import Count, QuerySet
from django.utils import timezone

from makerlab.prepared import Prepared
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from makerlab.work.registry import DAILY, HANDLERS, OFTEN, Apply, GiveUp, Handler

log = logging.getLogger("makerlab.work")
done_log = logging.getLogger("makerlab.jobs")

ATTEMPTS_MAX = 3
LEASE_MARGIN_S = 10
CLOCKS_APART = timedelta(hours=1)
QUIET_S = 10.0  # after a ring that failed
SOMEBODY_WAITS = -1  # the priority of a job that is asked for and looked for at once, among those that are not
REST_MAX = timedelta(minutes=3)
RINGS_MAX = 64  # by the sweeper in one lane: more workers than this do not stand idle
_quiet_until = float("-inf")
State = Job.State
OPEN = (State.WAITING, State.RUNNING)


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
    as_kept = json.loads(json.dumps(payload))  # what a list of tuples is after it was stored
    with transaction.atomic():
        waiting = next((job for job in _waiting_of(kind, str(subject)) if job.payload == as_kept), None)
        job = waiting or Job.objects.create(
            kind=kind, lane=handler.lane, subject=str(subject), school_id=school_id, priority=priority, payload=payload,
            turn=next_turn(handler.lane, priority, school_id),
        )  # fmt: skip
        transaction.on_commit(lambda: ring(job.lane))
    return job


@Prepared
def _waiting_of(kind: str, subject: str) -> QuerySet[Job]:
    return Job.objects.filter(kind=kind, subject=subject, state=State.WAITING).order_by("pk")


def next_turn(lane: str, priority: int, school_id: int) -> int:
    """The turn of a new job, so that schools are served one job each in turn however many they have sent.

    A school with nothing open joins at the turn now being served; each further job of its stands one turn later.
    This is start-time fair queuing with equal weights and jobs of equal size (P. Goyal, H. M. Vin, H. Cheng:
    "Start-time fair queueing", SIGCOMM 1996); the paper's rule is cited from memory.
    """
    now_served = _first_waiting.first(lane, priority)
    if now_served is None:
        now_served = _last_running.first(lane, priority) or 0
    last = _last_of_school.first(lane, priority, school_id)
    return now_served if last is None else max(now_served, last + 1)


@Prepared
def _first_waiting(lane: str, priority: int) -> QuerySet[Job, int]:
    waiting = Job.objects.filter(lane=lane, priority=priority, state=State.WAITING)
    return waiting.order_by("turn").values_list("turn", flat=True)[:1]


@Prepared
def _last_running(lane: str, priority: int) -> QuerySet[Job, int]:
    running = Job.objects.filter(lane=lane, priority=priority, state=State.RUNNING)
    return running.order_by("-turn").values_list("turn", flat=True)[:1]


@Prepared
def _last_of_school(lane: str, priority: int, school_id: int) -> QuerySet[Job, int]:
    standing = Job.objects.filter(lane=lane, priority=priority, school_id=school_id, state__in=OPEN)
    return standing.order_by("-turn").values_list("turn", flat=True)[:1]


def in_order(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Jobs in the order in which they are taken."""
    return jobs.order_by("priority", "turn", "id")


def ring(lane: str) -> None:
    """Tell the Celery workers of a lane, where there are any, that one job waits. Which one is decided when a worker
    is free, so that the order holds. A lost ring costs five seconds: the sweeper rings again."""
    global _quiet_until
    if not settings.REDIS_URL or time.monotonic() < _quiet_until:
        return
    # imported here: the embedded profile never loads Celery
    from kombu.exceptions import OperationalError
    from redis.exceptions import RedisError

    from makerlab.work.tasks import run_next

    try:
        run_next.apply_async(args=[lane], queue=lane, retry=False)
    except (OperationalError, RedisError):
        _quiet_until = time.monotonic() + QUIET_S  # a broker that hangs must not hold up one request after the other
        log.warning("broker not reached; work in lane %s waits for the sweeper", lane)


def rests(lane: str) -> bool:
    """Whether the next job of the lane is left for now, since nobody waits for it and files wait to be measured. The
    embedded worker asks, whose lanes share one machine; a job is left so for REST_MAX at the most."""
    waiting = Job.objects.filter(state=State.WAITING)
    following = in_order(waiting.filter(lane=lane)).first()
    if following is None or following.kind not in HANDLERS or HANDLERS[following.kind].somebody_waits:
        return False
    age = timezone.now() - following.created_at
    return timedelta(0) <= age < REST_MAX and waiting.filter(lane=Lane.MEASURE).exists()


def claim(lane: str | None = None, job_id: int | None = None) -> Job | None:
    """Take the next waiting job, or the given one, if nobody else was quicker."""
    now = timezone.now()
    waiting = Job.objects.filter(state=State.WAITING)
    if lane is not None:
        waiting = waiting.filter(lane=lane)
    if job_id is not None:
        waiting = waiting.filter(pk=job_id)
    for job in in_order(waiting)[:5]:
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


def _longest(job: Job, now: datetime) -> datetime:
    """No lease given at ``now`` ends later. One that does was given before the clock was set back: nobody may wait for
    tomorrow. Clocks of machines may be an hour apart without a job being taken from anybody."""
    handler = HANDLERS.get(job.kind)
    return now + timedelta(seconds=handler.wall_s + LEASE_MARGIN_S if handler else 0) + CLOCKS_APART


def sweep() -> int:
    """Give back the jobs of workers that died or overran their lease, and ring for everything that waits.

    Returns how many jobs were given back or given up.
    """
    swept = 0
    now = timezone.now()
    for job in Job.objects.filter(state=State.RUNNING):
        if job.lease_until is not None and now < job.lease_until < _longest(job, now) and not is_gone(job.worker):
            continue
        if job.kind in HANDLERS:
            fail(job, HANDLERS[job.kind].failed_message, final=False)
            swept += 1
    for chore in OFTEN:
        try:
            chore()
        except DatabaseError:
            raise
        except Exception:  # whatever a chore does, the sweeper must live
            log.exception("%s did not work", chore.__name__)
    if settings.REDIS_URL:
        waiting = Job.objects.filter(state=State.WAITING).values("lane").annotate(jobs=Count("pk"))
        for lane, jobs in waiting.values_list("lane", "jobs"):
            for _ in range(min(jobs, RINGS_MAX)):
                ring(lane)
    return swept


def do_daily() -> None:
    """Do the chores of the day. One that fails is told and tried again the next day; the others are done."""
    for chore in DAILY:
        try:
            chore()
        except Exception:  # whatever a chore does, the worker must live
            log.exception("%s did not work", chore.__name__)


def run(job: Job) -> None:
    """Do one claimed job to its end. Never raises: what went wrong is written on the job."""
    handler = HANDLERS[job.kind]
    about = {"job": job.pk, "kind": job.kind, "lane": job.lane, "attempt": job.attempt}
    try:
        apply = handler.work(job)
        if finish(job, apply):
            done_log.info("%s done", job.kind, extra=about)
    except GiveUp as reason:
        fail(job, str(reason), final=True)
    except Exception:  # whatever a job does, the worker must live and the job must be given back
        log.exception("%s did not work", job.kind, extra=about)
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
    "SOMEBODY_WAITS",
    "Handler",
    "claim",
    "enqueue",
    "fail",
    "finish",
    "in_order",
    "next_turn",
    "rests",
    "run",
    "run_waiting",
    "set_progress",
    "sweep",
]
