"""Servers of a test's own, on free ports of the loopback, which it may stop and start: the shared ones are nobody's to
stop."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import redis

from tests.conftest import free_port, missing

PATIENT = ("-t", "240")  # seconds that pg_ctl waits; its own 60 are little where much else runs


def wait_until(true: Callable[[], bool], seconds: float, what: str) -> float:
    """Wait until it is so; returns the seconds it took. The limit only ends a test that hangs."""
    began = time.monotonic()
    while not true():
        assert time.monotonic() - began < seconds, f"{what}: not within {seconds:.0f} s"
        time.sleep(0.1)
    return time.monotonic() - began


class OwnRedis:
    """A Redis that keeps nothing on disk, as in docker-compose.yml."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        self.process = subprocess.Popen([*command, "--dir", str(self.folder)], stdout=subprocess.DEVNULL)
        wait_until(self.answers, 180, "Redis starts")

    @property
    def pid(self) -> int:
        assert self.process is not None
        return self.process.pid

    def answers(self) -> bool:
        try:
            with redis.Redis.from_url(self.url, socket_connect_timeout=5, socket_timeout=5) as client:
                return bool(client.ping())
        except redis.exceptions.RedisError:
            return False

    def stop(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None


@contextmanager
def own_redis(folder: Path) -> Iterator[OwnRedis]:
    if shutil.which("redis-server") is None:
        missing("redis-server is not installed")
    server = OwnRedis(folder)
    server.start()
    try:
        yield server
    finally:
        server.stop()


class OwnCluster:
    """A PostgreSQL server with its files in a folder of the test. ``safe``: what it says is written is on the disk, as
    in a school; else it is quicker."""

    def __init__(self, folder: Path, programs: Path, safe: bool = False) -> None:
        self.folder, self.programs, self.safe, self.port = folder, programs, safe, free_port()
        self.url = f"postgres://postgres@127.0.0.1:{self.port}/postgres"

    def run(self, program: str, *arguments: str) -> None:
        """One of the server's programs; they refuse to run as root."""
        command = [str(self.programs / program), "-D", str(self.folder), *arguments]
        as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"] if os.geteuid() == 0 else []
        said = self.folder.with_suffix(".log")
        with said.open("ab") as log:
            done = subprocess.run([*as_user, *command], stdout=log, stderr=log, cwd="/", check=False)
        assert done.returncode == 0, said.read_text()

    def make(self) -> None:
        self.folder.mkdir(mode=0o700)
        if os.geteuid() == 0:
            user = pwd.getpwnam("postgres")
            os.chown(self.folder, user.pw_uid, user.pw_gid)
        self.run("initdb", "-U", "postgres", "--auth=trust", "--no-sync", "-E", "UTF8")

    def start(self) -> None:
        fsync = "on" if self.safe else "off"
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories='' -c fsync={fsync}"
        self.run("pg_ctl", "-w", *PATIENT, "-o", options, "-l", "/dev/null", "start")

    @property
    def pid(self) -> int:
        """Of the process all others of the server are children of."""
        return int((self.folder / "postmaster.pid").read_text().splitlines()[0])

    def stop(self) -> None:
        """At once, as a machine does that loses its power (the log is replayed at the start)."""
        self.run("pg_ctl", "-w", *PATIENT, "-m", "immediate", "stop")

    def end_connections(self) -> int:
        """Cut everybody off; returns how many were."""
        cut = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND datname <> ''"
        with psycopg.connect(self.url, autocommit=True) as admin:
            return len(admin.execute(cut).fetchall())


@contextmanager
def own_cluster(safe: bool = False) -> Iterator[OwnCluster]:
    """Skips where the server's programs are not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if not found:
        missing("PostgreSQL's server programs are not installed")
    folder = Path(tempfile.mkdtemp(prefix="makerlab-cluster-"))
    folder.chmod(0o755)  # the server runs as another account
    try:
        server = OwnCluster(folder / "data", found[-1].parent, safe)
        server.make()
        server.start()
        try:
            yield server
        finally:
            if (server.folder / "postmaster.pid").exists():
                server.stop()
    finally:
        shutil.rmtree(folder)
