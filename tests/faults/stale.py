"""A worker that is stopped (SIGSTOP) in the middle of a job until long after its lease, and then goes on (SIGCONT). Run
as a program; prints JSON.

It is a fork of this program which runs the worker's own loop or Celery, as in steps.py; only its lease is short, so
that nobody waits for minutes. Meanwhile another worker does the job. What was written is counted by the database.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import psutil

from tests.faults.bookkeeping import noted
from tests.faults.steps import CHECK, PLAN, STARTED, do_the_rest, end_all, nothing_open, subject_of, wait_until
from tests.faults.steps import serve as serve_with_sweeper
from tests.faults.steps import set_up as school_with_a_plan

CASES = ((CHECK, "claimed"), (CHECK, "measuring"), (CHECK, "computed"), (PLAN, "computed"))
LEASE_S = 1


def let_it_stop(kind: str, step: str, go_on: int) -> None:
    """From now on, this process stops itself once, at the step of its first job of this kind, whose lease is short."""
    from makerlab.work import child
    from makerlab.work.actions import LEASE_MARGIN_S
    from makerlab.work.models import Job
    from makerlab.work.registry import HANDLERS, Apply

    handler, run = HANDLERS[kind], child.run
    has_stopped = threading.Event()

    def stop() -> None:
        if not has_stopped.is_set():
            has_stopped.set()
            os.kill(os.getpid(), signal.SIGSTOP)
            os.read(go_on, 1)  # the kernel stops the other threads at once, this one perhaps a moment later

    def stop_and_run(*arguments: Any, **named: Any) -> Any:
        child.run = run
        stop()
        return run(*arguments, **named)

    def work(job: Job) -> Apply:
        HANDLERS[kind] = handler  # the jobs after this one have the lease of every other
        if step == "claimed":
            stop()
        if step == "measuring":
            child.run = stop_and_run
        apply = handler.work(job)
        stop()
        return apply

    HANDLERS[kind] = replace(handler, work=work, wall_s=LEASE_S - LEASE_MARGIN_S)


def serve_lane(profile: str, kind: str) -> None:
    """The worker's own loop for the lane of this kind, or Celery. Without the sweeper, which would find the short lease
    over before the process stops; and without the other lanes: a process that is stopped while it writes into an SQLite
    file keeps it locked for everybody, which no program can help but by killing it."""
    from makerlab.work.loop import work_lane
    from makerlab.work.registry import HANDLERS

    if profile == "distributed":
        serve_with_sweeper(profile)
    else:
        work_lane(HANDLERS[kind].lane, threading.Event())


def fork_stale(profile: str, kind: str, step: str, log: Path) -> tuple[int, int]:
    """Its process id, and where a byte is written after SIGCONT."""
    from django.db import connections

    connections.close_all()
    sys.stdout.flush()
    go_on, tell = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            said = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            os.dup2(said, 1)
            os.dup2(said, 2)
            let_it_stop(kind, step, go_on)
            serve_lane(profile, kind)
        finally:
            os._exit(1)
    STARTED.append(pid)
    os.close(go_on)
    return pid, tell


def is_stopped(pid: int) -> bool:
    return psutil.Process(pid).status() == psutil.STATUS_STOPPED


def facts_of(job_id: int) -> dict[str, Any]:
    """All that stands in the job's row."""
    from makerlab.work.models import Job

    return Job.objects.filter(pk=job_id).values().get()


def one_case(profile: str, world: Any, kind: str, step: str, number: int, log: Path) -> dict[str, Any]:
    job, plans = subject_of(kind, world, 2 * number), noted("plan written")[world.room.pk]
    pid, tell = fork_stale(profile, kind, step, log)
    # nobody sweeps until it has stopped: its ring waits for it in the broker
    assert wait_until(lambda: is_stopped(pid), sweeping=False), f"{kind}, {step}: it did not stop"
    before = facts_of(job)
    assert do_the_rest(profile), f"{kind}, {step}: the other worker left something"
    after, written = facts_of(job), noted("plan written")[world.room.pk]
    assert is_stopped(pid)
    os.kill(pid, signal.SIGCONT)
    os.write(tell, b"x")
    os.close(tell)
    # one after the other in its lane: when it has done another job, it has come to the end of the late one
    later = subject_of(kind, world, 2 * number + 1)
    assert wait_until(nothing_open, profile == "distributed"), f"{kind}, {step}: it does not go on"
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return {
        "stopped in hand": (before["state"], before["attempt"]), "done by another": after["worker"] != before["worker"],
        "job": (after["state"], after["attempt"]), "untouched": facts_of(job) == after,
        "done times": noted("job done")[job], "plans by the other": written - plans,
        "plans later": noted("plan written")[world.room.pk] - written,
        "goes on": facts_of(later)["worker"] == before["worker"], "refused": log.read_text().count("refused"),
    }  # fmt: skip


def main(profile: str) -> dict[str, Any]:
    import django

    django.setup()
    from django.conf import settings
    from django.db import connection

    from makerlab.work.models import Job

    world = school_with_a_plan(profile)
    log = Path(settings.VAR) / "stale.log"
    cases = {
        f"{kind} {step}": one_case(profile, world, kind, step, number, log)
        for number, (kind, step) in enumerate(CASES)
    }  # fmt: skip
    return {
        "profile": profile, "database": connection.vendor, "cases": cases,
        "checks written": sorted(noted("checked").values()), "failed": sum(noted("job failed").values()),
        "open": Job.objects.filter(kind__in=[CHECK, PLAN]).exclude(state="done").count(),
    }  # fmt: skip


if __name__ == "__main__":
    reader = argparse.ArgumentParser()
    reader.add_argument("--profile", choices=["embedded", "distributed"], default="embedded")
    try:
        json.dump(main(reader.parse_args().profile), sys.stdout)
    finally:
        end_all()
