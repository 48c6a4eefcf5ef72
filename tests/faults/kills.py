"""Many real checks, and kill -9 of their workers at random moments. Run as a program; prints JSON.

Every upload is a cube of a size of its own: that its volume is the cube of its side (geometry) shows that each result
stands with its own file. What was written, and how often, is counted by the database (bookkeeping.py).
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from random import Random
from typing import Any

from tests.faults.bookkeeping import note_writes, noted
from tests.faults.crews import VICTIMS, Crew, crew_of, kill_one

WAIT_S = 900.0  # only ends a run that hangs


def set_up(jobs: int) -> list[tuple[int, float]]:
    """A school and so many uploads by the app's own action. Returns each submission's id and its cube's side, mm."""
    from django.conf import settings
    from django.core.files.uploadedfile import SimpleUploadedFile
    from django.core.management import call_command

    from lessons.models import Assignment
    from submissions.actions import upload_part
    from tests.meshcheck.badfiles import binary_stl, cube_corners
    from tests.world import make_world

    call_command("migrate", verbosity=0)
    world = make_world()
    note_writes()
    Assignment.objects.update(files_max=jobs + 1)
    world.assignment.refresh_from_db()
    settings.UPLOADS_AN_HOUR = 10 * jobs
    made = []
    for number in range(jobs):
        side = 10.0 + number / 16  # exact in the file's 32-bit figures
        file = SimpleUploadedFile("cube.stl", binary_stl(cube_corners(side)), "model/stl")
        made.append((upload_part(world.student, world.assignment, world.wheel, file).pk, side))
    return made


def done_so_far() -> int:
    from makerlab.work.models import Job

    return Job.objects.exclude(state__in=[Job.State.WAITING, Job.State.RUNNING]).count()


def wait_for(count: int, crew: Crew, until: float) -> None:
    while done_so_far() < count and time.monotonic() < until:
        crew.replace()
        time.sleep(0.05)


def kill_at_random(crew: Crew, random: Random, jobs: int, kills: int, until: float) -> list[dict[str, Any]]:
    """Kill at ``kills`` moments of the run, each a random while after a random count of jobs is done."""
    from makerlab.work.models import Job

    least = jobs // 10
    moments = sorted(random.sample(range(least, jobs - least, max(1, jobs // (4 * kills))), kills))
    made = []
    for number, count in enumerate(moments):
        wait_for(count, crew, until)
        time.sleep(random.uniform(0, 0.3))
        running = Job.objects.filter(state=Job.State.RUNNING)
        while (
            not (crew.pids() and running.exists()) and time.monotonic() < until
        ):  # a kill between two jobs shows nothing
            time.sleep(0.05)
        victim = VICTIMS[number % len(VICTIMS)]
        in_hand = running.count()
        done = done_so_far()
        killed = kill_one(crew, random, victim)
        made.append({"victim": victim, "done": done, "in hand": in_hand, "killed": killed})
        crew.replace()
    return made


def main(seed: int, jobs: int, kills: int, profile: str) -> dict[str, Any]:
    import django

    django.setup()
    from django.conf import settings
    from django.db import connection

    from makerlab.work.models import Job
    from submissions.models import Submission

    made = set_up(jobs)
    crew = crew_of(profile, Path(settings.VAR))
    until = time.monotonic() + WAIT_S
    crew.start()
    try:
        killed = kill_at_random(crew, Random(seed), jobs, kills, until)
        last = time.monotonic()
        wait_for(jobs, crew, until)
        after_last = time.monotonic() - last
    finally:
        crew.stop()
    checked, done = noted("checked"), noted("job done")
    volumes = {pk: (report or {}).get("volume_mm3") for pk, report in Submission.objects.values_list("pk", "report")}
    wrong = [pk for pk, side in made if abs((volumes[pk] or 0.0) / side**3 - 1) > 1e-6]
    attempts = list(Job.objects.filter(kind="check-submission").values_list("attempt", flat=True))
    return {
        "database": connection.vendor, "profile": profile, "seed": seed, "jobs": len(attempts), "kills": killed,
        "lost": [pk for pk, side in made if not checked[pk]],
        "twice": [pk for pk, times in checked.items() if times > 1],
        "done twice": [pk for pk, times in done.items() if times > 1],
        "failed": sum(noted("job failed").values()), "wrong volume": wrong,
        "tried again": sum(attempt > 1 for attempt in attempts), "seconds after the last kill": round(after_last, 1),
    }  # fmt: skip


if __name__ == "__main__":
    reader = argparse.ArgumentParser()
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--jobs", type=int, default=200)
    reader.add_argument("--kills", type=int, default=5)
    reader.add_argument("--profile", choices=["embedded", "distributed"], default="embedded")
    json.dump(main(**vars(reader.parse_args())), sys.stdout)
