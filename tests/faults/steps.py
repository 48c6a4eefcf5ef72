"""kill -9 of a worker at each step of a check and of a plan. Run as a program; prints JSON.

The worker is a fork of this program that kills itself at the step; what it runs is the worker's own loop or Celery. The
job it had in hand is then done by the next one. What was written is counted by the database (bookkeeping.py).
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from tests.faults.bookkeeping import note_writes, noted

STEPS = ("claimed", "computing", "computed", "marked done", "written", "committed")
CHECK, PLAN = "check-submission", "plan-room"
LANES = ("measure", "plan")  # not the one in which better plans are looked for: they would be counted, too
HANGS_S = 180.0
STARTED: list[int] = []


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def let_it_die(kind: str, step: str) -> None:
    """From now on, this process kills itself at the step of the first attempt at a job of this kind."""
    from django.db import transaction

    from makerlab.work.models import Job
    from makerlab.work.registry import HANDLERS, Apply

    handler = HANDLERS[kind]

    def work(job: Job) -> Apply:
        if job.attempt > 1:
            return handler.work(job)
        if step == "claimed":
            die()
        if step == "computing":
            threading.Timer(0.03, die).start()
        apply = handler.work(job)
        if step in ("computing", "computed"):
            die()

        def write() -> None:
            if step == "marked done":
                die()
            apply()
            if step == "written":
                die()
            transaction.on_commit(die)

        return write

    HANDLERS[kind] = replace(handler, work=work)


def serve(profile: str) -> None:
    """The worker's own loop, or Celery's with the queues of the same lanes."""
    from makerlab.work.loop import sweep_often, work_lane

    if profile == "embedded":
        stop = threading.Event()
        for lane in LANES:
            threading.Thread(target=work_lane, args=(lane, stop)).start()
        sweep_often(stop)
    else:
        from makerlab.celery import app

        name = f"w{time.monotonic_ns()}@h"
        app.worker_main(["worker", "--pool", "threads", "-c", "1", "-l", "ERROR", "-n", name, "-Q", ",".join(LANES)])


def fork_worker(profile: str, kind: str = "", step: str = "") -> int:
    """A worker that dies at the step, or, without one, goes on until it is ended. Returns its process id."""
    from django.db import connections

    connections.close_all()
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        try:
            os.dup2(2, 1)  # what Celery prints is no part of our answer
            if step:
                let_it_die(kind, step)
            serve(profile)
        finally:
            os._exit(1)
    STARTED.append(pid)
    return pid


def wait_until(true: Callable[[], bool], sweeping: bool) -> bool:
    """True when it became so. Celery's workers want a sweeper, which the clock process is otherwise."""
    from makerlab.work import actions

    end = time.monotonic() + HANGS_S
    swept = 0.0
    while time.monotonic() < end:
        if true():
            return True
        if sweeping and time.monotonic() - swept > 1.0:
            swept = time.monotonic()
            actions.sweep()
        time.sleep(0.05)
    return False


def do_the_rest(profile: str) -> bool:
    """Have a worker do all that is left; True when it did."""
    pid = fork_worker(profile)
    done = wait_until(nothing_open, profile == "distributed")
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return done


def end_all() -> None:
    """A program that fails leaves no worker behind."""
    for pid in STARTED:
        with contextlib.suppress(ChildProcessError):  # waited for already, the number may be somebody else's
            if os.waitpid(pid, os.WNOHANG) == (0, 0):
                os.kill(pid, signal.SIGKILL)
                os.waitpid(pid, 0)


def has_died(pid: int) -> bool:
    gone, status = os.waitpid(pid, os.WNOHANG)
    return gone == pid and os.waitstatus_to_exitcode(status) == -signal.SIGKILL


def nothing_open() -> bool:
    from makerlab.work.models import Job

    return not Job.objects.filter(kind__in=[CHECK, PLAN], state__in=["waiting", "running"]).exists()


def subject_of(kind: str, world: Any, number: int) -> int:
    """Order one job of the kind as a person does: upload a cube, or ask for a plan. Returns the job's id."""
    from django.core.files.uploadedfile import SimpleUploadedFile

    from makerlab.work.models import Job
    from printing.actions.ground import plan_again
    from submissions.actions import upload_part
    from tests.meshcheck.badfiles import binary_stl, cube_corners

    if kind == PLAN:
        return plan_again(world.room, world.teacher).pk
    file = SimpleUploadedFile("cube.stl", binary_stl(cube_corners(10.0 + number / 16)), "model/stl")
    made = upload_part(world.student, world.assignment, world.wheel, file)
    return Job.objects.get(kind=CHECK, subject=str(made.pk)).pk


def set_up(profile: str) -> Any:
    """A school in which two teams' parts are ordered and planned, with nothing left to do. This program itself starts
    no child: a fork would take it for its own."""
    from django.core.management import call_command

    from tests.printing.helpers import ordered_mesh, with_meshes
    from tests.world import make_world

    call_command("migrate", verbosity=0)
    world = with_meshes(make_world())
    for team in (world.team, world.second_team):
        ordered_mesh(world, team)
    assert do_the_rest(profile), "the first plan"
    note_writes()
    return world


def main(profile: str) -> dict[str, Any]:
    import django

    django.setup()
    from makerlab.work.models import Job
    from printing.models import PrintCopy

    world = set_up(profile)
    killed: dict[str, dict[str, Any]] = {}
    all_done = True
    for kind in (CHECK, PLAN):
        for number, step in enumerate(STEPS):
            job = subject_of(kind, world, number)
            pid = fork_worker(profile, kind, step)
            died = wait_until(lambda pid=pid: has_died(pid), profile == "distributed")  # type: ignore[misc]
            left = Job.objects.get(pk=job).state
            assert died, f"{kind}, {step}: the worker lives on"
            killed[f"{kind} {step}"] = {"left": left, "job": job}
            if kind == PLAN:  # one after the other: of two plans that wait for a room, one is made
                all_done = all_done and do_the_rest(profile)
        all_done = all_done and do_the_rest(profile)
    done = noted("job done")
    for each in killed.values():
        each["done times"] = done[each["job"]]
        each["attempts"] = Job.objects.get(pk=each.pop("job")).attempt
    copies = PrintCopy.objects.filter(request__room=world.room)
    return {
        "profile": profile, "killed": killed, "all done": all_done, "failed": sum(noted("job failed").values()),
        "checks written": sorted(noted("checked").values()), "plans written": sum(noted("plan written").values()),
        "copies": copies.count(), "planned copies": copies.filter(state="planned", plate__isnull=False).count(),
    }  # fmt: skip


if __name__ == "__main__":
    reader = argparse.ArgumentParser()
    reader.add_argument("--profile", choices=["embedded", "distributed"], default="embedded")
    try:
        json.dump(main(reader.parse_args().profile), sys.stdout)
    finally:
        end_all()
