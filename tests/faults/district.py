"""The processes of docker-compose.yml started by hand, with its own commands, on servers of a test's own: what the
containers would run, without an engine for containers. A browser that keeps cookies talks to any of the web processes.
"""

from __future__ import annotations

import http.client
import re
import secrets
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import psycopg
import yaml

from tests.conftest import free_port
from tests.faults.crews import ROOT, environment
from tests.faults.servers import wait_until

HOST = "makerlab.school.example"
ONCE = ("migrate", "bucket")
WORKERS = ("measure", "plan", "consider", "deliver", "clock")
# what the file sets for the containers and these processes take from the test's own servers
OWN = ("DATABASE_URL", "REDIS_URL")
HANGS_S = 240.0  # only ends a test that hangs


class District:
    """``running``: the processes by name; web processes are web-0 and web-1."""

    def __init__(self, folder: Path, database: str, broker: str, bucket: dict[str, str]) -> None:
        compose = yaml.safe_load((ROOT / "docker-compose.yml").read_text("utf-8"))
        self.services: dict[str, Any] = compose["services"]
        self.folder, self.database = folder, database
        given = {"MAKERLAB_SECRET_KEY": secrets.token_hex(40), "MAKERLAB_HOSTS": HOST, **bucket}
        asked = self.services["web"]["environment"]
        plain = {name: str(value) for name, value in asked.items() if "$" not in str(value)}
        plain = {name: value for name, value in plain.items() if name not in OWN and not name.startswith("MAKERLAB_S3")}
        self.environment = environment(folder, DATABASE_URL=database, REDIS_URL=broker, **plain, **given)
        missing = [name for name in asked if name not in self.environment]
        assert not missing, f"docker-compose.yml sets what this test does not: {missing}"
        self.ports: list[int] = []
        self.running: dict[str, subprocess.Popen[bytes]] = {}

    def command(self, service: str) -> list[str]:
        """As the file writes it, with this environment's own programs and a folder of the test for /tmp."""
        program, *rest = self.services[service]["command"]
        rest = [each.replace("/tmp/", f"{self.folder}/") for each in rest]
        modules = {"python": [], "celery": ["-m", "celery"], "waitress-serve": ["-m", "waitress"]}
        return [sys.executable, *modules[program], *rest]

    def _start(self, name: str, command: list[str]) -> None:
        with (self.folder / f"{name}.log").open("ab") as log:
            self.running[name] = subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=log, stderr=log)

    def web(self, number: int) -> None:
        """Start a web process; waits until it is ready for pages."""
        port = free_port()
        self.ports[number : number + 1] = [port]
        command = [each.replace("0.0.0.0:8000", f"127.0.0.1:{port}") for each in self.command("web")]
        self._start(f"web-{number}", command)
        wait_until(lambda: self.ask(number, "/readyz?without=worker") == 200, HANGS_S, f"web process {number} is ready")

    def worker(self, service: str) -> None:
        command = self.command(service)
        if service != "clock":
            command += ["-n", f"{service}-{time.monotonic_ns()}@h"]  # a container's name is its host's
        self._start(service, command)

    def start(self) -> None:
        for service in ONCE:
            done = subprocess.run(self.command(service), cwd=ROOT, env=self.environment, capture_output=True, text=True)
            assert done.returncode == 0, done.stderr
        for number in range(int(self.services["web"]["scale"])):
            self.web(number)
        for service in WORKERS:
            self.worker(service)

    def kill(self, name: str) -> None:
        self.running[name].kill()
        self.running[name].wait()

    def stop(self) -> dict[str, int]:
        """SIGTERM to everybody, as at the end of a container; the exit code of each that ended within its grace."""
        alive = {name: process for name, process in self.running.items() if process.poll() is None}
        for process in alive.values():
            process.terminate()
        codes = {}
        for name, process in alive.items():
            try:
                codes[name] = process.wait(max(HANGS_S, self.grace_s(name)))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        return codes

    def grace_s(self, name: str) -> int:
        """Seconds the compose file gives a process to end (``30s``, ``6m``): a job in hand is finished first."""
        said = self.services["web" if name.startswith("web-") else name].get("stop_grace_period", "10s")
        return int(said[:-1]) * {"s": 1, "m": 60}[said[-1]]

    def shell(self, code: str) -> str:
        command = [sys.executable, "manage.py", "shell", "-v0", "-c", code]
        done = subprocess.run(command, cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Asked of the database itself, not of our code."""
        with psycopg.connect(self.database) as database:
            return database.execute(query).fetchall()

    def ask(self, number: int, path: str) -> int:
        """Status of a page without a sign-in; 0 when nobody answers."""
        try:
            return Visitor(self).get(number, path).status
        except OSError:
            return 0

    def log(self) -> str:
        return "\n".join(f"== {path.name}\n{path.read_text()[-2000:]}" for path in sorted(self.folder.glob("*.log")))


@dataclass
class Answer:
    status: int
    location: str
    text: str


@dataclass
class Visitor:
    """A browser: it keeps its cookies, whichever web process set them, and sends the token of the form it last saw."""

    district: District
    cookies: dict[str, str] = field(default_factory=dict)
    token: str = ""

    def get(self, number: int, path: str) -> Answer:
        return self._send(number, "GET", path, None, {})

    def post(self, number: int, path: str, fields: dict[str, str], file: tuple[str, bytes] | None = None) -> Answer:
        fields = {"csrfmiddlewaretoken": self.token, **fields}
        if file is None:
            return self._send(
                number, "POST", path, urlencode(fields).encode(), {"Content-Type": "application/x-www-form-urlencoded"}
            )
        edge = secrets.token_hex(16)
        parts = [
            f'--{edge}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
            for name, value in fields.items()
        ]
        head = f'--{edge}\r\nContent-Disposition: form-data; name="file"; filename="{file[0]}"\r\n\r\n'
        body = b"".join(parts) + head.encode() + file[1] + f"\r\n--{edge}--\r\n".encode()
        return self._send(number, "POST", path, body, {"Content-Type": f"multipart/form-data; boundary={edge}"})

    def _send(self, number: int, method: str, path: str, body: bytes | None, headers: dict[str, str]) -> Answer:
        connection = http.client.HTTPConnection("127.0.0.1", self.district.ports[number], timeout=HANGS_S)
        common = {
            "Host": HOST,
            "X-Forwarded-Proto": "https",
            "X-Forwarded-For": "203.0.113.7, 127.0.0.1",
            "Referer": f"https://{HOST}/",
            "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
        }
        try:
            connection.request(method, path, body, {**common, **headers})
            answer = connection.getresponse()
            text = answer.read().decode("utf-8", "replace")
        finally:
            connection.close()
        for line in answer.headers.get_all("Set-Cookie") or []:
            name, _, value = line.partition(";")[0].partition("=")
            self.cookies[name] = value
        if found := re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', text):
            self.token = found[1]
        return Answer(answer.status, answer.headers.get("Location", ""), text)
