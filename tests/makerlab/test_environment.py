"""What the environment may say: read typed, told in plain words when wrong, never with a secret."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from makerlab.environment import BASE_DIR, HERE, masked, read_environment, unknown_names, variables


@pytest.fixture(autouse=True)
def _nothing_set(monkeypatch):
    for name in list(os.environ):
        if name.startswith("MAKERLAB_") or name in {"DATABASE_URL", "REDIS_URL"}:
            monkeypatch.delenv(name)


def test_with_nothing_set_it_is_the_embedded_profile():
    made = read_environment()
    assert (made.var, made.hosts, made.https, made.demo) == (BASE_DIR / "var", HERE, False, False)
    assert (made.database_url, made.redis_url, made.secret_key) == (None, None, None)
    assert {line.source for line in variables(made)} == {"default"}


def test_what_is_set_is_typed_and_an_empty_value_counts_as_not_set(monkeypatch):
    for name, value in {
        "MAKERLAB_HOSTS": "a.example, b.example,", "MAKERLAB_HTTPS": "yes", "MAKERLAB_UPLOAD_MAX_MB": "40",
        "MAKERLAB_VAR": "/srv/lab", "REDIS_URL": "", "DATABASE_URL": "postgres://u:p@db/lab",
    }.items():  # fmt: skip
        monkeypatch.setenv(name, value)
    made = read_environment()
    assert made.hosts == ["a.example", "b.example"]
    assert (made.https, made.upload_max_mb, made.var, made.redis_url) == (True, 40, Path("/srv/lab"), None)
    sources = {line.name: line.source for line in variables(made)}
    assert sources["MAKERLAB_HOSTS"] == "environment"
    assert sources["REDIS_URL"] == "default"


def test_every_problem_is_told_at_once_by_name_and_no_secret_is_repeated(monkeypatch):
    for name, value in {
        "MAKERLAB_HOSTS": "https://lab.example/", "MAKERLAB_UPLOAD_MAX_MB": "many", "MAKERLAB_CHILD_CPU_S": "5",
        "MAKERLAB_HTTPS": "perhaps", "DATABASE_URL": "oracle://scott:tiger@db/lab", "REDIS_URL": "lab:hunter2@broker",
    }.items():  # fmt: skip
        monkeypatch.setenv(name, value)
    with pytest.raises(ImproperlyConfigured) as told:
        read_environment()
    text = str(told.value)
    for name in ("HOSTS", "UPLOAD_MAX_MB", "CHILD_CPU_S", "HTTPS", "DATABASE_URL", "REDIS_URL"):
        assert name in text
    assert "'many' was given" in text
    assert "tiger" not in text
    assert "hunter2" not in text


@pytest.mark.parametrize("url", ["mysql://u:p@db/lab", "nonsense", "postgres//u:p@db"])
def test_other_databases_are_refused(monkeypatch, url):
    monkeypatch.setenv("DATABASE_URL", url)
    with pytest.raises(ImproperlyConfigured, match="DATABASE_URL"):
        read_environment()


def test_secrets_are_masked():
    assert masked("postgres://lab:pa@ss@db:5432/lab") == "postgres://***@db:5432/lab"
    assert masked("redis://broker:6379/0") == "redis://broker:6379/0"
    assert masked("correct horse") == "(13 characters)"


def test_a_name_nothing_reads_is_pointed_out(monkeypatch):
    monkeypatch.setenv("MAKERLAB_HOST", "lab.example")
    monkeypatch.setenv("MAKERLAB_COLOUR", "blue")
    monkeypatch.setenv("MAKERLAB_REQUIRE_ALL", "1")
    assert list(unknown_names()) == [("MAKERLAB_COLOUR", ""), ("MAKERLAB_HOST", "MAKERLAB_HOSTS")]


def manage(tmp_path: Path, **variables: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", "config"], cwd=BASE_DIR, text=True, capture_output=True, check=False,
        env={**os.environ, "MAKERLAB_VAR": str(tmp_path), **variables},
    )  # fmt: skip


def test_the_command_prints_what_is_in_force(tmp_path):
    done = manage(tmp_path, DATABASE_URL="postgres://lab:tiger@db/lab", MAKERLAB_SECRET_KEY="hush" * 10)
    assert done.returncode == 0, done.stderr
    assert "postgres://***@db/lab" in done.stdout
    assert "(40 characters)" in done.stdout
    assert "tiger" not in done.stdout
    assert "hush" not in done.stdout


def test_a_wrong_environment_ends_every_command_without_a_traceback(tmp_path):
    done = manage(tmp_path, MAKERLAB_UPLOAD_MAX_MB="0")
    assert done.returncode == 1
    assert "MAKERLAB_UPLOAD_MAX_MB" in done.stderr
    assert "Traceback" not in done.stderr
