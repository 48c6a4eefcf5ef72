"""What an installation is by itself: the secret, cookies and headers behind TLS, passwords, the policy of pages."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from makerlab import settings as ours
from tests.conftest import ROOT

ASK = """
import json, os, django
os.environ["DJANGO_SETTINGS_MODULE"] = "makerlab.settings"
django.setup()
from django.test import Client
from django.conf import settings
answer = Client(headers={"host": "school.example"}).get("/sign-in/", secure=True)
plain = Client(headers={"host": "school.example"}).get("/sign-in/")
print(json.dumps({"headers": dict(answer.headers), "cookies": [c.output() for c in answer.cookies.values()],
                  "plain": [plain.status_code, plain.get("Location", "")], "session": settings.SESSION_COOKIE_NAME,
                  "debug": settings.DEBUG}))
"""


def run(*command: str, var: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    values = {**os.environ, "MAKERLAB_VAR": str(var), "PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "queue")))}
    values |= environment
    values.pop("DJANGO_ALLOW_ASYNC_UNSAFE", None)  # set by the browser tests, in this process only
    return subprocess.run([sys.executable, *command], cwd=ROOT, env=values, text=True, capture_output=True, timeout=900)


@pytest.fixture(scope="module")
def behind_tls(tmp_path_factory) -> dict[str, object]:
    """What the sign-in page answers over TLS in a fresh installation."""
    var = tmp_path_factory.mktemp("tls")
    done = run("-c", ASK, var=var, MAKERLAB_HTTPS="1", MAKERLAB_HOSTS="school.example")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def test_the_deployment_check_finds_nothing(tmp_path):
    done = run(
        "manage.py", "check", "--deploy", "--fail-level", "WARNING", var=tmp_path, MAKERLAB_HTTPS="1",
        MAKERLAB_HOSTS="school.example",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_the_secret_is_made_once_and_only_we_can_read_it(tmp_path):
    ask = "from makerlab import settings; print(settings.SECRET_KEY)"
    first, second = (run("-c", ask, var=tmp_path).stdout.strip() for _number in range(2))
    path = tmp_path / "secret_key"
    assert first == second == path.read_text()
    assert len(first) >= 50
    assert path.stat().st_mode & 0o777 == 0o600
    given = run("-c", ask, var=tmp_path, MAKERLAB_SECRET_KEY="x" * 60).stdout.strip()
    assert given == "x" * 60


MAKE_DATABASE = """
import os, django
os.umask(0o022)  # the usual one
django.setup()
from django.db import connection
with connection.cursor() as cursor:
    cursor.execute("CREATE TABLE made (number INT)")
    for name in sorted(os.listdir(os.environ["MAKERLAB_VAR"])):
        if "sqlite3" in name:
            print(name, oct(os.stat(os.path.join(os.environ["MAKERLAB_VAR"], name)).st_mode & 0o777))
"""


def test_the_database_file_and_those_beside_it_can_be_read_by_us_only(tmp_path):
    done = run("-c", MAKE_DATABASE, var=tmp_path, DJANGO_SETTINGS_MODULE="makerlab.settings")
    names = ("makerlab.sqlite3", "makerlab.sqlite3-shm", "makerlab.sqlite3-wal")
    assert done.stdout.splitlines() == [f"{name} 0o600" for name in names], done.stderr


def test_behind_tls_cookies_and_headers_hold_browsers_to_it(behind_tls):
    headers = {name.lower(): value for name, value in behind_tls["headers"].items()}
    assert headers["strict-transport-security"].startswith("max-age=31536000; includeSubDomains")
    assert behind_tls["plain"] == [301, "https://school.example/sign-in/"]
    assert behind_tls["session"] == "__Host-makerlab_session"
    assert behind_tls["debug"] is False
    cookie = behind_tls["cookies"][0]
    assert "__Host-makerlab_csrf" in cookie
    assert all(word in cookie for word in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/"))
    assert "Domain" not in cookie


def test_headers_every_browser_gets(behind_tls):
    headers = {name.lower(): value for name, value in behind_tls["headers"].items()}
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-frame-options"] == "DENY"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert "access-control-allow-origin" not in headers
    assert "server" not in headers


def test_the_policy_of_pages_takes_nothing_from_elsewhere_and_no_inline_code(behind_tls):
    headers = {name.lower(): value for name, value in behind_tls["headers"].items()}
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    for name in ("script-src", "style-src", "img-src", "connect-src", "font-src", "form-action"):
        assert policy[name] == "'self'"
    assert "unsafe" not in headers["content-security-policy"]


def test_htmx_evaluates_nothing_and_asks_only_here():
    base = (ROOT / "makerlab" / "templates" / "base.html").read_text("utf-8")
    config = json.loads(re.search(r"name=\"htmx-config\" content='(.*?)'", base)[1])
    assert config["allowEval"] is False
    assert config["allowScriptTags"] is False
    assert config["selfRequestsOnly"] is True
    assert config["historyCacheSize"] == 0


@pytest.mark.parametrize("password", ["short", "password12", "1234567890", "qwertyuiop"])
def test_short_and_common_passwords_are_refused(password):
    with pytest.raises(ValidationError):
        validate_password(password)


@pytest.mark.parametrize(
    "password", ["correct horse battery", "a" * 30 + " plain letters", "日本語のとても長い合言葉です", "x9" * 64]
)
def test_any_signs_and_long_passwords_are_taken(password):
    validate_password(password)


def test_passwords_are_kept_by_a_slow_hash():
    assert not hasattr(ours, "PASSWORD_HASHERS")  # Django's default: PBKDF2 with SHA-256
