"""The distributed profile for real: PostgreSQL, Redis and a Celery worker, each as its own process."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import redis

from tests.conftest import own_postgres
from tests.faults.servers import own_redis, wait_until

ROOT = Path(__file__).resolve().parents[2]
pytestmark = [pytest.mark.postgres, pytest.mark.redis, pytest.mark.slow]

UPLOAD = """
from django.core.files.base import ContentFile
from lessons.models import KitPart, LessonPlan
from makerlab.accounts.models import School
from makerlab.work.actions import enqueue
school = School.objects.create(name="Alderwick School")
plan = LessonPlan.objects.create(school=school, title="t", summary="s", grade_band="6-8")
for name in ("wheel", "chassis", "axle-holder"):
    part = KitPart(plan=plan, code=name, name=name, file_name=name + ".stl", sha256="0" * 64)
    part.file.save("", ContentFile(open(f"demo_fixtures/meshes/kit/{name}.stl", "rb").read()))
    enqueue("check-kit-part", part.pk, school.pk)
"""
LOOK = """
from lessons.models import KitPart
from makerlab.work.models import Job
jobs = Job.objects
print("STATE", sorted(jobs.values_list("state", flat=True)), sorted(jobs.values_list("attempt", flat=True)),
      KitPart.objects.filter(check_state="checked", verdict="ok").count())
"""


@pytest.fixture
def environment(tmp_path: Path) -> Iterator[dict[str, str]]:
    """A database and a broker of this test's own: of two runs on one machine neither rings the other's workers."""
    with own_postgres() as url, own_redis(tmp_path) as broker:
        yield {**os.environ, "DATABASE_URL": url, "REDIS_URL": broker.url, "MAKERLAB_VAR": str(tmp_path)}


def manage(environment: dict[str, str], *arguments: str) -> str:
    command = [sys.executable, "manage.py", *arguments]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def start_worker(environment: dict[str, str], *more: str) -> subprocess.Popen[bytes]:
    command = [
        sys.executable,
        "-m",
        "celery",
        "-A",
        "makerlab",
        "worker",
        "--pool",
        "threads",
        "-c",
        "2",
        "-l",
        "WARNING",
        *more,
    ]
    return subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def wait_for(environment: dict[str, str], wanted: str, seconds: float) -> str:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        state = manage(environment, "shell", "-v0", "-c", LOOK)
        if wanted in state:
            return state
        time.sleep(1)
    raise AssertionError(f"not reached within {seconds} s: {state}")


def test_checks_are_done_by_a_celery_worker_rung_through_redis(environment):
    manage(environment, "migrate", "-v0")
    worker = start_worker(environment)
    try:
        time.sleep(5)  # let it subscribe, so that the ring itself and not a sweep starts the work
        manage(environment, "shell", "-v0", "-c", UPLOAD)
        wait_for(environment, "STATE ['done', 'done', 'done'] [1, 1, 1] 3", 600)
    finally:
        worker.kill()
        worker.wait()


def test_a_lost_ring_and_a_killed_worker_lose_no_job(environment):
    manage(environment, "migrate", "-v0")
    manage(environment, "shell", "-v0", "-c", UPLOAD)
    redis.Redis.from_url(environment["REDIS_URL"]).flushdb()  # every ring is lost
    worker = start_worker(environment)
    time.sleep(3)
    worker.kill()
    worker.wait()
    worker = start_worker(environment)
    try:
        sweep = "from makerlab.work.actions import sweep; sweep()"  # what the clock process calls every five seconds
        manage(environment, "shell", "-v0", "-c", sweep)
        state = wait_for(environment, "STATE ['done', 'done', 'done']", 600)
        assert state.strip().endswith(" 3")
    finally:
        worker.kill()
        worker.wait()


def heard_of(environment: dict[str, str]) -> list[list[str]]:
    """The lanes of every heartbeat, by plain SQL."""
    with psycopg.connect(environment["DATABASE_URL"]) as database:
        return [row[0] for row in database.execute("SELECT lanes FROM work_heartbeat").fetchall()]


def ready_says(environment: dict[str, str]) -> str:
    """What /readyz says of workers."""
    look = "from makerlab.health.ready import worker; print(worker())"
    return manage(environment, "shell", "-v0", "-c", look).strip()


def test_a_celery_worker_is_heard_of_with_its_lanes_until_it_leaves_or_dies(environment):
    manage(environment, "migrate", "-v0")
    worker = start_worker(environment, "--queues", "celery,measure,plan")
    try:
        wait_until(lambda: heard_of(environment) == [["measure", "plan"]], 600, "a heartbeat")
        assert ready_says(environment) == "nobody serves consider, deliver"
        worker.terminate()
        worker.wait(600)
        assert heard_of(environment) == [], "who stops in order takes its row along"
        worker = start_worker(environment)
        wait_until(lambda: heard_of(environment) != [], 600, "a heartbeat")
        assert ready_says(environment) == "ok"
        worker.kill()
        worker.wait()
        assert len(heard_of(environment)) == 1
        assert ready_says(environment) == "nobody serves measure, plan, consider, deliver"
    finally:
        worker.kill()
        worker.wait()
