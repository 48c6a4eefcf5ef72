"""Threads that write to SQLite stand in line; whatever ends a transaction lets the next one on."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from django.db import OperationalError, connections, transaction

from makerlab.sqlite import base

ALIAS = "turns"
THREADS, TRANSACTIONS = 6, 10


@pytest.fixture
def path(tmp_path: Path, django_db_blocker) -> Iterator[Path]:
    """A database of its own beside the tests', with a table of one number."""
    path = tmp_path / "turns.sqlite3"
    options = {"transaction_mode": "IMMEDIATE", "timeout": 10.0, "init_command": "PRAGMA journal_mode=WAL"}
    made = {"default": {"ENGINE": "makerlab.sqlite", "NAME": path, "OPTIONS": options}}
    connections.settings[ALIAS] = connections.configure_settings(made)["default"]
    with django_db_blocker.unblock():
        with connections[ALIAS].cursor() as cursor:
            cursor.execute("CREATE TABLE counted (number INTEGER)")
            cursor.execute("INSERT INTO counted VALUES (0)")
        yield path
        connections[ALIAS].close()
        del connections[ALIAS], connections.settings[ALIAS]


def is_free(path: Path) -> bool:
    turn = base._TURNS[str(path)]
    if turn.acquire(blocking=False):
        turn.release()
        return True
    return False


def count_on() -> int:
    """A transaction that reads, waits a little and writes."""
    with transaction.atomic(using=ALIAS), connections[ALIAS].cursor() as cursor:
        (number,) = cursor.execute("SELECT number FROM counted").fetchone()
        time.sleep(0.002)
        cursor.execute("UPDATE counted SET number = %s", [number + 1])
    return int(number)


def in_threads(count: int, times: int) -> tuple[list[int], list[OperationalError]]:
    """What the transactions read, and how often SQLite, which waits for nobody here, said that the file is locked."""
    read: list[int] = []
    locked: list[OperationalError] = []

    def one() -> None:
        with connections[ALIAS].cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout = 0")
        for _ in range(times):
            try:
                read.append(count_on())
            except OperationalError as error:
                locked.append(error)
        connections[ALIAS].close()

    threads = [threading.Thread(target=one) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return read, locked


def test_threads_stand_in_line_and_sqlite_never_says_locked(path: Path) -> None:
    read, locked = in_threads(THREADS, TRANSACTIONS)
    assert sorted(read) == list(range(THREADS * TRANSACTIONS)), "none counted on what another was changing"
    assert locked == []
    assert is_free(path)


def test_without_the_line_they_would_be_refused(path: Path, monkeypatch) -> None:
    """The test above can fail."""
    monkeypatch.setattr(base.DatabaseWrapper, "_take_turn", lambda self: None)
    _read, locked = in_threads(THREADS, TRANSACTIONS)
    assert locked


def test_every_end_of_a_transaction_lets_the_next_one_on(path: Path) -> None:
    count_on()
    assert is_free(path)
    with transaction.atomic(using=ALIAS):
        with transaction.atomic(using=ALIAS):  # a savepoint takes no turn of its own
            assert not is_free(path)
        assert not is_free(path)
        transaction.set_rollback(True, using=ALIAS)
    assert is_free(path)
    with suppress(RuntimeError), transaction.atomic(using=ALIAS):
        raise RuntimeError
    assert is_free(path)
    with transaction.atomic(using=ALIAS):
        connections[ALIAS].close()
    assert is_free(path)


def test_a_begin_that_is_refused_leaves_the_line(path: Path) -> None:
    """Another process holds the file: here another connection, behind the back of the line."""
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with connections[ALIAS].cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout = 0")
    with pytest.raises(OperationalError, match="locked"):
        count_on()
    assert is_free(path)
    other.execute("ROLLBACK")
    other.close()
    assert count_on() == 0


def test_who_stood_in_line_too_long_hears_it_from_sqlite(path: Path, monkeypatch) -> None:
    monkeypatch.setitem(connections.settings[ALIAS]["OPTIONS"], "timeout", 0.05)
    with connections[ALIAS].cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout = 0")
    with base._TURNS[str(path)]:  # held by nobody who writes: SQLite lets it on
        count_on()
        assert not is_free(path), "it did not hold the turn, and does not give it away"
    assert is_free(path)
