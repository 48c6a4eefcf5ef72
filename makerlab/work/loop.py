"""The embedded worker: one thread for each lane, and a sweeper."""

from __future__ import annotations

import logging
import os
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress

from django.db import OperationalError, close_old_connections

from makerlab.work import actions, child
from makerlab.work.beat import beat_often
from makerlab.work.lanes import Lane

log = logging.getLogger("makerlab.work")
IDLE_S = 0.2
SWEEP_S = 5.0
FIRST_CHORES_S, DAY_S = 60.0, 86_400.0
# of 19 steps: looking for better plans takes what pages, plans and files that are measured (child.py) leave of the
# machine, and rests altogether while files wait (``actions.rests``). Plans do not stand back: they hold the database's
# one lock for writing, and a thread that holds it and is not let on keeps uploads waiting
GIVES_WAY = {Lane.CONSIDER: 10}
RESTED_S = 2.0


def give_way(lane: str) -> None:
    """Let this thread stand back as its lane should (Linux, where threads have priorities of their own)."""
    if sys.platform == "linux" and (steps := GIVES_WAY.get(Lane(lane))):
        me = threading.get_native_id()
        with suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, me, min(19, os.getpriority(os.PRIO_PROCESS, me) + steps))


def serve_lane(lane: str, stop: threading.Event) -> None:
    give_way(lane)
    work_lane(lane, stop)


def work_lane(lane: str, stop: threading.Event) -> None:
    """Claim and do the jobs of one lane until told to stop. A database that is away for a while is waited for."""
    while not stop.is_set():
        close_old_connections()
        try:
            if actions.rests(lane):
                stop.wait(RESTED_S)
                continue
            job = actions.claim(lane)
            if job is not None:
                actions.run(job)
                continue
        except OperationalError:
            log.warning("database not reached, lane %s tries again", lane)
            stop.wait(1.0)
        stop.wait(IDLE_S)


def sweep_often(stop: threading.Event) -> None:
    while not stop.is_set():
        close_old_connections()
        try:
            actions.sweep()
        except OperationalError:
            log.warning("database not reached, the sweeper tries again")
        stop.wait(SWEEP_S)


def chores_daily(stop: threading.Event) -> None:
    while not stop.wait(FIRST_CHORES_S):
        close_old_connections()
        actions.do_daily()
        if stop.wait(DAY_S - FIRST_CHORES_S):
            return


def run_forever(stop: threading.Event, keep_on: Callable[[], bool] = lambda: True) -> None:
    """Serve all lanes until ``stop`` is set or ``keep_on`` says no; a job in hand is finished first."""
    child.stand_by()  # from here, so that it does not stand back as the thread that needs it first may
    lanes = {lane: threading.Thread(target=serve_lane, args=(lane, stop), name=f"lane-{lane}") for lane in Lane.values}

    def served() -> list[str]:
        return [lane for lane, thread in lanes.items() if thread.is_alive()]

    threads = list(lanes.values())
    threads.append(threading.Thread(target=beat_often, args=(stop, served), name="heartbeat"))
    threads.append(threading.Thread(target=sweep_often, args=(stop,), name="sweeper"))
    threads.append(threading.Thread(target=chores_daily, args=(stop,), name="chores"))
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        if not keep_on():
            stop.set()
        time.sleep(0.2)
