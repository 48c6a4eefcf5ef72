"""A profile with its processes, ready for a rush: the web server and the workers as their own commands start them."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from makerlab.serving import arguments
from tests.conftest import free_port
from tests.faults.crews import ROOT, environment
from tests.faults.servers import own_cluster, own_redis, wait_until

WEB_PROCESSES = 2  # of the distributed profile, as in docker-compose.yml
LANES = ("plan", "consider", "deliver")
CELERY = ["-m", "celery", "-A", "makerlab"]


@dataclass
class Profile:
    """``measuring``: Celery workers that check files, one file each at a time; 0 is the embedded profile."""

    folder: Path
    measuring: int
    environment: dict[str, str]
    ports: list[int] = field(default_factory=list)
    running: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)
    servers: dict[str, int] = field(default_factory=dict)  # the process of each
    scene: dict[str, Any] = field(default_factory=dict)

    def start(self) -> None:
        made = self._run("-m", "tests.bench.load.scene")
        self.scene = json.loads(made)
        self._run("manage.py", "collectstatic", "--noinput", "-v0")
        for number in range(WEB_PROCESSES if self.measuring else 1):
            port = free_port()
            listen = f"--listen=127.0.0.1:{port}"
            self._start(f"web {number + 1}", "-m", "waitress", listen, *arguments(), "makerlab.wsgi:application")
            self.ports.append(port)
        if not self.measuring:
            self._start("worker", "manage.py", "worker")
        for number in range(self.measuring):
            self._worker(f"measure {number + 1}", "celery,measure")
        for lane in LANES if self.measuring else ():
            self._worker(lane, lane)
        if self.measuring:
            self._start("clock", *CELERY, "beat", "--schedule", str(self.folder / "beat"), "--pidfile", "")
        for port in self.ports:
            wait_until(lambda port=port: _answers(port, "/readyz"), 300, "web and workers are ready")

    def stop(self) -> None:
        for process in self.running.values():
            process.terminate()
        for process in self.running.values():
            try:
                process.wait(60)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def pids(self) -> dict[str, int]:
        return {**{name: process.pid for name, process in self.running.items()}, **self.servers}

    def _worker(self, name: str, queues: str) -> None:
        named = f"{name.replace(' ', '-')}@h"
        self._start(
            name,
            *CELERY,
            "worker",
            "--pool",
            "threads",
            "--queues",
            queues,
            "--concurrency",
            "1",
            "-l",
            "WARNING",
            "-n",
            named,
        )

    def _start(self, name: str, *command: str) -> None:
        with (self.folder / f"{name}.log").open("ab") as log:
            self.running[name] = subprocess.Popen(
                [sys.executable, *command], cwd=ROOT, env=self.environment, stdout=log, stderr=log
            )

    def _run(self, *command: str) -> str:
        done = subprocess.run(
            [sys.executable, *command], cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr[-4000:]
        return done.stdout


def _answers(port: int, path: str) -> bool:
    with contextlib.suppress(OSError), urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
        return bool(answer.status == 200)
    return False


@contextmanager
def started(folder: Path, measuring: int) -> Iterator[Profile]:
    """The embedded profile, or PostgreSQL and Redis with so many measuring workers; all of it ends with the block."""
    with ExitStack() as stack:
        values, servers = {}, {}
        if measuring:
            database, broker = stack.enter_context(own_cluster(safe=True)), stack.enter_context(own_redis(folder))
            values = {"DATABASE_URL": database.url, "REDIS_URL": broker.url}
            servers = {"PostgreSQL": database.pid, "Redis": broker.pid}
        profile = Profile(folder, measuring, environment(folder, **values), servers=servers)
        try:
            profile.start()
            yield profile
        finally:
            profile.stop()
