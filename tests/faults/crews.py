"""The workers of each profile as their own commands start them, to be killed and found again."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import time
from pathlib import Path
from random import Random
from typing import Protocol

import psutil

ROOT = Path(__file__).resolve().parents[2]
VICTIMS = ("worker", "worker and all its children", "worker", "children only")


class Crew(Protocol):
    """``pids``: the workers that run now. A worker that was killed comes back by itself or by ``replace``."""

    def start(self) -> None: ...
    def pids(self) -> list[int]: ...
    def replace(self) -> None: ...
    def stop(self) -> None: ...


class Embedded:
    """One supervised worker, as beside the web server of the embedded profile."""

    def __init__(self) -> None:
        from makerlab.supervisor import WorkerSupervisor

        self.supervisor = WorkerSupervisor(lambda line: None, ["--cold"])

    def start(self) -> None:
        self.supervisor.start()

    def pids(self) -> list[int]:
        process = self.supervisor.process
        return [process.pid] if process is not None and process.poll() is None else []

    def replace(self) -> None:
        """The supervisor does."""

    def stop(self) -> None:
        self.supervisor.stop()


class Distributed:
    """Celery workers for all lanes and the clock, as in docker-compose.yml; a container that dies is started again."""

    def __init__(self, folder: Path, workers: int = 2, values: dict[str, str] | None = None) -> None:
        self.folder, self.workers, self.values = folder, workers, values
        self.running: list[subprocess.Popen[bytes]] = []
        self.clock: subprocess.Popen[bytes] | None = None

    def _celery(self, *arguments: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "celery", "-A", "makerlab", *arguments]
        with (self.folder / "celery.log").open("ab") as log:
            return subprocess.Popen(command, cwd=ROOT, env=self.values, stdout=log, stderr=log)

    def _worker(self) -> subprocess.Popen[bytes]:
        name = f"w{time.monotonic_ns()}@h"
        return self._celery("worker", "--pool", "threads", "-c", "2", "-l", "WARNING", "-n", name)

    def start(self) -> None:
        self.running = [self._worker() for _number in range(self.workers)]
        self.clock = self._celery("beat", "--schedule", str(self.folder / "beat"), "--pidfile", "")

    def pids(self) -> list[int]:
        return [process.pid for process in self.running if process.poll() is None]

    def replace(self) -> None:
        self.running = [each if each.poll() is None else self._worker() for each in self.running]

    def stop(self) -> None:
        for process in [*self.running, *([self.clock] if self.clock else [])]:
            process.terminate()
        for process in [*self.running, *([self.clock] if self.clock else [])]:
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def crew_of(name: str, folder: Path) -> Crew:
    return Embedded() if name == "embedded" else Distributed(folder)


def kill_one(crew: Crew, random: Random, victim: str) -> int:
    """kill -9 of one worker, with or without its children, or of its children alone. Returns how many processes."""
    pid = random.choice(crew.pids())
    children = psutil.Process(pid).children(recursive=True)
    chosen = children if victim == "children only" else [psutil.Process(pid)]
    if victim == "worker and all its children":
        chosen += children
    killed = 0
    for process in chosen:
        with contextlib.suppress(psutil.NoSuchProcess):
            process.kill()
            killed += 1
    if victim != "children only":
        with contextlib.suppress(ChildProcessError):
            wait_gone(pid)
    return killed


def wait_gone(pid: int) -> None:
    """Until nobody of that number runs: whoever started it waits for it in a thread, or we do."""
    end = time.monotonic() + 30
    while time.monotonic() < end:
        with contextlib.suppress(psutil.NoSuchProcess):
            if psutil.Process(pid).status() != psutil.STATUS_ZOMBIE:
                time.sleep(0.02)
                continue
        return


def environment(var: Path, **more: str) -> dict[str, str]:
    """Of a program of these tests: nothing of the developer's own, and ours to be imported."""
    ours = ("MAKERLAB_", "DATABASE_", "REDIS_")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    path = os.pathsep.join([str(ROOT), str(ROOT / "queue")])
    return {**kept, "MAKERLAB_VAR": str(var), "PYTHONPATH": path, "DJANGO_SETTINGS_MODULE": "makerlab.settings", **more}
