"""Fixtures every test may use."""

from __future__ import annotations

import os
import secrets
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import hypothesis
import psycopg
import pytest
import time_machine
from django.core.cache import cache
from django.db import connection, connections
from django.test import Client

from tests.world import World, make_world

# the same examples in every run, so that a change fails for what it changed; MAKERLAB_EXPLORE=1 draws new ones
hypothesis.settings.register_profile("steady", derandomize=True, database=None, deadline=None)
if os.environ.get("MAKERLAB_EXPLORE") != "1":
    hypothesis.settings.load_profile("steady")

ROOT = Path(__file__).resolve().parents[1]
AtOnce = Callable[..., list[Any]]
# where the room's plan is made, every test begins at the same moment of a school day, early in its minute: a plan looks
# different a minute later and at another time of day; MAKERLAB_TEST_NOW=2026-11-27T23:57:05Z begins elsewhere
NOW = os.environ.get("MAKERLAB_TEST_NOW", "2026-11-24T15:05:05Z")
STEADY = ("printing", "lessons", "submissions")
POSTGRES = "postgres://postgres@127.0.0.1:5432"


@pytest.fixture(autouse=True)
def _steady_clock(request: pytest.FixtureRequest) -> Iterator[None]:
    """The clock goes on from ``NOW``; child processes and other machines have their own."""
    if request.path.relative_to(ROOT / "tests").parts[0] not in STEADY:
        yield
        return
    with time_machine.travel(datetime.fromisoformat(NOW), tick=True):
        yield


@pytest.fixture(autouse=True)
def _own_media(settings, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Files of a test never land in the developer's var/."""
    settings.MEDIA_ROOT = str(tmp_path_factory.mktemp("media"))


@pytest.fixture(autouse=True)
def _quick_hashes(settings) -> None:
    """The world has nine people: the real password hash would cost seconds a test."""
    settings.PASSWORD_HASHERS = [
        "django.contrib.auth.hashers.MD5PasswordHasher",
        "django.contrib.auth.hashers.PBKDF2PasswordHasher",
    ]


@pytest.fixture(autouse=True)
def _nothing_kept() -> None:
    """A page drawn for one test is not shown to the next, whose rows have the same numbers."""
    cache.clear()


@pytest.fixture
def world(db) -> World:
    return make_world()


@pytest.fixture
def signed_in() -> Callable[[object], Client]:
    """A client in which the given person is signed in."""

    def sign_in(person) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return sign_in


def free_port() -> int:
    """A port of the loopback nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def missing(what: str) -> None:
    """Skip because something is not there; fail where CI promised that everything is."""
    if os.environ.get("MAKERLAB_REQUIRE_ALL") == "1":
        pytest.fail(f"{what}, and MAKERLAB_REQUIRE_ALL=1 wants it")
    pytest.skip(what)


@contextmanager
def own_postgres() -> Iterator[str]:
    """URL of a PostgreSQL database that exists only inside the block; skips when there is no server."""
    name = f"makerlab_test_{secrets.token_hex(4)}"
    try:
        admin = psycopg.connect(f"{POSTGRES}/postgres", autocommit=True, connect_timeout=60)
    except psycopg.OperationalError as error:
        missing(f"PostgreSQL is not reached: {error}")
        raise
    with admin:
        admin.execute(f'CREATE DATABASE "{name}"')
        try:
            yield f"{POSTGRES}/{name}"
        finally:
            admin.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture(scope="session")
def chromium() -> str:
    path = Path("/usr/bin/chromium")
    if not path.exists():
        missing("Chromium is not installed at /usr/bin/chromium")
    return str(path)


@pytest.fixture
def at_once(transactional_db, tmp_path: Path) -> Iterator[AtOnce]:
    """Run functions in threads of their own at the same moment, on a real database with real locks.

    SQLite's in-memory database answers "table is locked" to a second writer instead of letting it wait, so its
    content is copied to a file in which everything given to ``at_once`` runs. Returns what each function returned,
    or the exception it raised.
    """
    shared = connections.settings["default"]
    before = shared["NAME"]
    path = tmp_path / "race.sqlite3"

    def move_to_a_file() -> None:
        connection.ensure_connection()
        with sqlite3.connect(path) as copy:
            connection.connection.backup(copy)
            copy.execute("PRAGMA journal_mode=WAL")  # two connections switching at once lock each other out
        copy.close()
        shared["NAME"] = str(path)

    def run(*functions: Callable[[], Any]) -> list[Any]:
        if connection.vendor == "sqlite" and not path.exists():
            move_to_a_file()
        results: list[Any] = [None] * len(functions)
        start = threading.Barrier(len(functions))

        def one(place: int, function: Callable[[], Any]) -> None:
            try:
                start.wait(10)
                results[place] = function()
            except Exception as error:  # noqa: BLE001 - handed to the test, which says what it expects
                results[place] = error
            finally:
                connections.close_all()

        threads = [threading.Thread(target=one, args=pair) for pair in enumerate(functions)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        return results

    yield run
    shared["NAME"] = before
