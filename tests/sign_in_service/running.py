"""The site with single sign-on turned on and the service it asks, both as processes on loopback, and browsers before
them that are nothing but cookies."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import requests

from tests.conftest import free_port, missing
from tests.faults.crews import ROOT, environment
from tests.faults.running import Site, site
from tests.faults.servers import wait_until
from tests.world import PASSWORD

NAME = "Northfield account"
THERE = "a password of the service"
SECRET = "what the site and the service share"
ASKED_S = 60.0  # until a request is given up: only a guard


@dataclass
class School:
    """``folder`` holds the service's plan and its twist."""

    site: Site
    folder: Path
    issuer: str

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.site.port}"

    @contextmanager
    def twisted(self, how: str) -> Iterator[None]:
        """The service misbehaves inside the block (provider.py)."""
        (self.folder / "twist").write_text(how)
        try:
            yield
        finally:
            (self.folder / "twist").unlink()

    def number(self, name: str) -> int:
        return int(str(self.site.ask_database(f"SELECT id FROM accounts_user WHERE username = '{name}'")[0][0]))

    def events(self, name: str) -> list[Any]:
        """Facts of the sign-ins on record, oldest first."""
        asked = f"SELECT facts FROM audit_event WHERE verb = 'signed-in' AND actor_id = {self.number(name)} ORDER BY id"
        return [json.loads(str(facts)) for (facts,) in self.site.ask_database(asked)]


class Browser:
    """One person's cookies. The service answers as localhost, the site as 127.0.0.1: two sites to a browser."""

    def __init__(self, school: School) -> None:
        self.school, self.http = school, requests.Session()

    def get(self, path: str, **more: Any) -> requests.Response:
        return self.http.get(self.school.address + path, timeout=ASKED_S, **more)

    def post(self, path: str, values: dict[str, str], **more: Any) -> requests.Response:
        token = self.http.cookies.get("makerlab_csrf") or self._token()
        values = {**values, "csrfmiddlewaretoken": token}
        return self.http.post(self.school.address + path, values, timeout=ASKED_S, **more)

    def _token(self) -> str:
        self.get("/sign-in/")
        return str(self.http.cookies.get("makerlab_csrf"))

    def by_password(self, name: str, password: str = PASSWORD) -> requests.Response:
        return self.post("/sign-in/", {"username": name, "password": password})

    def to_the_service(self, wanted: str = "") -> requests.Response:
        """The service's own form, where the button leads."""
        return self.get("/sign-in/school/", params={"next": wanted})

    def enter_there(self, form: requests.Response, name: str, **more: Any) -> requests.Response:
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', form.text)
        assert token, form.text[:2000]
        values = {"username": name, "password": THERE, "csrfmiddlewaretoken": token[1]}
        return self.http.post(form.url, values, timeout=ASKED_S, **more)

    def by_service(self, name: str, wanted: str = "") -> requests.Response:
        """All the way, and the page it ends on."""
        return self.enter_there(self.to_the_service(wanted), name)

    def is_in(self) -> bool:
        return self.get("/people/", allow_redirects=False).status_code != 302

    def connect(self, name: str, known_as: str) -> requests.Response:
        """As an administrator: enter by what the service knows somebody."""
        return self.post(f"/people/{self.school.number(name)}/service/", {"known_as": known_as})

    def add(self, name: str, role: str = "teacher") -> str:
        """As an administrator: a new member of staff. Returns the password on paper."""
        answer = self.post("/people/", {"display_name": name.title(), "username": name, "role": role})
        found = re.search(r"told-once\">([a-z2-9-]{19})<", answer.text)
        assert found, answer.text[:2000]
        return found[1]


@contextmanager
def service(folder: Path, port: int, plan: dict[str, Any]) -> Iterator[None]:
    (folder / "plan.json").write_text(json.dumps(plan))
    command = [sys.executable, "-m", "tests.sign_in_service.provider", str(folder), str(port)]
    values = {name: value for name, value in environment(folder).items() if name != "DJANGO_SETTINGS_MODULE"}
    with (folder / "service.log").open("wb") as log:
        process = subprocess.Popen(command, cwd=ROOT, env=values, stdout=log, stderr=log)

    def answers() -> bool:
        assert process.poll() is None, (folder / "service.log").read_text()[-4000:]
        try:
            return requests.get(f"http://localhost:{port}/login/", timeout=ASKED_S).status_code == 200
        except requests.RequestException:
            return False

    try:
        wait_until(answers, 240, "the service starts")
        yield
    finally:
        process.kill()
        process.wait()


@contextmanager
def school_with_service(folder: Path, people: dict[str, dict[str, Any]]) -> Iterator[School]:
    """Both running; ``people`` are the service's accounts and what it tells of each."""
    for package, name in (("allauth", "django-allauth"), ("oauth2_provider", "django-oauth-toolkit")):
        if find_spec(package) is None:
            missing(f"{name} is not installed (extra sso and the test extra)")
    there, here = folder / "service", folder / "site"
    there.mkdir()
    here.mkdir()
    port = free_port()
    issuer = f"http://localhost:{port}/o"
    values = environment(
        here, MAKERLAB_OIDC_ISSUER=issuer, MAKERLAB_OIDC_CLIENT="makerlab", MAKERLAB_OIDC_SECRET=SECRET,
        MAKERLAB_OIDC_NAME=NAME,
    )  # fmt: skip
    with site(values) as running:
        back = f"http://127.0.0.1:{running.port}/sign-in/school/return/"
        plan = {"people": people, "password": THERE, "client": "makerlab", "secret": SECRET, "return": back}
        running.start()
        with service(there, port, plan):
            yield School(running, there, issuer)
