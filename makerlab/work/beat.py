"""The workers' heartbeat: one row for each worker process, written every few seconds while it lives."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable
from datetime import timedelta

from django.db import DatabaseError, close_old_connections
from django.utils import timezone

from makerlab.work.actions import is_gone, log, worker_name
from makerlab.work.lanes import Lane
from makerlab.work.models import Heartbeat

EVERY_S = 5.0
ALIVE_S = 60.0  # a worker that has not written for so long is taken for dead: twelve beats missed
FORGOTTEN = timedelta(days=1)


def beat(lanes: Iterable[str]) -> None:
    """Note that this process is alive and serves these lanes."""
    now = timezone.now()
    Heartbeat.objects.update_or_create(
        worker=worker_name(os.getpid()), defaults={"lanes": sorted(lanes), "seen_at": now}
    )
    Heartbeat.objects.filter(seen_at__lt=now - FORGOTTEN).delete()


def leave() -> None:
    """A worker that stops in order takes its row along, so that nobody waits for it."""
    Heartbeat.objects.filter(worker=worker_name(os.getpid())).delete()


def alive() -> list[Heartbeat]:
    """Workers heard of within the last minute, newest first; of this machine only those whose process is there."""
    now, apart = timezone.now(), timedelta(seconds=ALIVE_S)
    # one far in the future was written before the clock was set back: it says nothing of now
    heard = Heartbeat.objects.filter(seen_at__gte=now - apart, seen_at__lte=now + apart).order_by("-seen_at")
    return [row for row in heard if not is_gone(row.worker)]


def lanes_without_worker() -> list[str]:
    """Lanes that no living worker serves."""
    served = {lane for row in alive() for lane in row.lanes}
    return [lane for lane in Lane.values if lane not in served]


def beat_often(stop: threading.Event, lanes: Callable[[], Iterable[str]]) -> None:
    """Beat until told to stop; a database that is away for a while is waited for."""
    while not stop.is_set():
        close_old_connections()
        try:
            beat(lanes())
        except DatabaseError:
            log.warning("database not reached, the heartbeat tries again")
        stop.wait(EVERY_S)
    try:
        leave()
    except DatabaseError:
        log.warning("database not reached, the heartbeat was left behind")
    finally:
        close_old_connections()
