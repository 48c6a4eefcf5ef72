"""A running site of a test's own: the web server as a process, a student who is signed in, and the database asked by
plain SQL, without any code of ours."""

from __future__ import annotations

import http.client
import json
import os
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg

from makerlab.serving import arguments
from tests.conftest import free_port
from tests.faults.crews import ROOT
from tests.faults.servers import wait_until

TOKEN = "a" * 32  # of the form and the cookie: they must be the same
BOUNDARY = "made-by-a-test"
ASKED_S = 180.0  # until a request is given up: no test waits for less


@dataclass(frozen=True)
class Answer:
    status: int
    body: str
    headers: dict[str, str]


class Site:
    """The web server of an environment, at a port that stays when it is started again."""

    def __init__(self, values: dict[str, str]) -> None:
        self.values, self.port = values, free_port()
        self.folder = Path(values["MAKERLAB_VAR"])
        self.process: subprocess.Popen[bytes] | None = None
        made = subprocess.run(
            [sys.executable, "-m", "tests.faults.school"],
            cwd=ROOT,
            env=values,
            capture_output=True,
            text=True,
            check=False,
        )
        assert made.returncode == 0, made.stderr[-4000:]
        self.student: dict[str, str] = json.loads(made.stdout)

    def start(self, dying: bool = False) -> None:
        """``dying``: one that kills itself at a step of an upload (dying_web.py)."""
        command = ["-m", "waitress", f"--listen=127.0.0.1:{self.port}", *arguments(), "makerlab.wsgi:application"]
        if dying:
            command = ["-m", "tests.faults.dying_web", str(self.port)]
        with (self.folder / "web.log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, *command], cwd=ROOT, env=self.values, stdout=log, stderr=log
            )
        wait_until(self.lives, 240, "the web server starts")

    def lives(self) -> bool:
        try:
            return self.get("/livez").status == 200
        except OSError:
            return False

    def kill(self) -> None:
        """kill -9, or wait for one that killed itself."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None

    def ask(self, method: str, path: str, body: bytes | None = None, kind: str = "") -> Answer:
        """Raises OSError or http.client.HTTPException when the server went away meanwhile."""
        headers = {"Cookie": f"{self.student['cookie']}; {self.student['csrf']}={TOKEN}", "X-CSRFToken": TOKEN}
        if kind:
            headers["Content-Type"] = kind
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=ASKED_S)) as connection:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            return Answer(answer.status, answer.read().decode(errors="replace"), dict(answer.getheaders()))

    def get(self, path: str) -> Answer:
        return self.ask("GET", path)

    def page(self) -> Answer:
        return self.get(self.student["page"])

    def upload(self, content: bytes, name: str = "wheel.stl") -> Answer:
        kind = f"multipart/form-data; boundary={BOUNDARY}"
        return self.ask("POST", self.student["upload"], form_of(content, name), kind)

    def begin_upload(self, content: bytes) -> socket.socket:
        """Send the first half of an upload and keep the line open."""
        body = form_of(content, "wheel.stl")
        line = socket.create_connection(("127.0.0.1", self.port), timeout=ASKED_S)
        head = (
            f"POST {self.student['upload']} HTTP/1.1\r\nHost: 127.0.0.1\r\nX-CSRFToken: {TOKEN}\r\n"
            f"Cookie: {self.student['cookie']}; {self.student['csrf']}={TOKEN}\r\n"
            f"Content-Type: multipart/form-data; boundary={BOUNDARY}\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        line.sendall(head.encode() + body[: len(body) // 2])
        return line

    def ask_database(self, query: str) -> list[tuple[object, ...]]:
        if url := self.values.get("DATABASE_URL"):
            with psycopg.connect(url) as database:
                return database.execute(query.encode()).fetchall()
        path = f"file:{self.folder / 'makerlab.sqlite3'}?mode=ro"
        with closing(sqlite3.connect(path, uri=True, timeout=20)) as lite:
            return lite.execute(query).fetchall()

    def count(self, what: str) -> int:
        """Rows of ``table WHERE condition``."""
        return int(str(self.ask_database(f"SELECT COUNT(*) FROM {what}")[0][0]))

    def checked(self) -> int:
        return self.count("submissions_submission WHERE check_state = 'checked'")

    def stored(self) -> list[Path]:
        return sorted(path for path in (self.folder / "media").rglob("*") if path.is_file())


def form_of(content: bytes, name: str) -> bytes:
    head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
    return f"{head}Content-Type: model/stl\r\n\r\n".encode() + content + f"\r\n--{BOUNDARY}--\r\n".encode()


@contextmanager
def site(values: dict[str, str]) -> Iterator[Site]:
    made = Site(values)
    try:
        yield made
    finally:
        made.kill()


@contextmanager
def embedded_worker(values: dict[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    """``manage.py worker``, without a supervisor: one that dies stays dead."""
    command = [sys.executable, "manage.py", "worker", "--cold"]
    with Path(os.devnull).open("wb") as nowhere:
        process = subprocess.Popen(command, cwd=ROOT, env=values, stdout=nowhere, stderr=nowhere)
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(60)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
