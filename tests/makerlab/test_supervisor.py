"""The worker beside the web server: started again when it dies, ended when it should, never left behind."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

ROOT = Path(__file__).resolve().parents[2]
SUPERVISE = """
import sys, time
sys.path[:0] = [{root!r}, {root!r} + "/queue"]
from makerlab.supervisor import WorkerSupervisor
supervisor = WorkerSupervisor(lambda line: print(line, flush=True), ["--cold"])
supervisor.start()
try:
    time.sleep(900)
except KeyboardInterrupt:
    supervisor.stop()
"""


@pytest.fixture
def supervising(tmp_path):
    environment = {**os.environ, "MAKERLAB_VAR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "makerlab.settings"}
    subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=environment, check=True)
    code = SUPERVISE.format(root=str(ROOT))
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.kill()


def worker_of(process: subprocess.Popen[str], other_than: int | None = None, seconds: float = 300) -> psutil.Process:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        for child in psutil.Process(process.pid).children():
            with contextlib.suppress(psutil.NoSuchProcess):  # also a zombie: dead and not yet waited for
                if "worker" in child.cmdline() and child.pid != other_than:
                    return child
        time.sleep(0.1)
    raise AssertionError("no worker")


def ready(process: subprocess.Popen[str]) -> None:
    for line in process.stdout:
        if "ready" in line:
            return


def ends(worker: psutil.Process, seconds: float = 300) -> bool:
    return not psutil.wait_procs([worker], timeout=seconds)[1]


def test_a_killed_worker_is_started_again(supervising):
    first = worker_of(supervising)
    ready(supervising)
    first.kill()
    assert worker_of(supervising, other_than=first.pid).pid != first.pid


def test_stopping_ends_the_worker(supervising):
    worker = worker_of(supervising)
    ready(supervising)
    supervising.send_signal(signal.SIGINT)
    assert ends(worker)


def test_the_worker_ends_when_its_parent_was_killed(supervising):
    worker = worker_of(supervising)
    ready(supervising)
    supervising.kill()
    supervising.wait()
    assert ends(worker)
