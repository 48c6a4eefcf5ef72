"""Fixtures for tests of submissions."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections

from submissions import queries
from submissions.progress import PartProgress
from submissions.signals import approved, withdrawn

AtOnce = Callable[..., list[Any]]


@pytest.fixture
def at_once(transactional_db, world, tmp_path: Path, settings) -> Iterator[AtOnce]:
    """Run functions in threads of their own at the same moment, on a real database with real locks.

    SQLite's in-memory database answers "table is locked" to a second writer instead of letting it wait, so its
    content is copied to a file in which everything given to ``at_once`` runs. Returns what each function returned,
    or the exception it raised.
    """
    shared = connections.settings["default"]
    before = shared["NAME"]
    connection.ensure_connection()
    if connection.vendor == "sqlite":
        path = tmp_path / "race.sqlite3"
        with sqlite3.connect(path) as copy:
            connection.connection.backup(copy)
        copy.close()
        shared["NAME"] = str(path)

    def run(*functions: Callable[[], Any]) -> list[Any]:
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


@pytest.fixture(autouse=True)
def _nobody_listens() -> Iterator[None]:
    """Printing, a higher layer, has tests of its own for what it does when a part is approved or withdrawn."""
    kept = {signal: signal.receivers for signal in (approved, withdrawn)}
    for signal in kept:
        signal.receivers = []
        signal.sender_receivers_cache.clear()
    yield
    for signal, receivers in kept.items():
        signal.receivers = receivers
        signal.sender_receivers_cache.clear()


@pytest.fixture
def student(world, signed_in):
    return signed_in(world.student)


@pytest.fixture
def told(monkeypatch):
    """What printing would say, for the pages alone; printing's own tests check that it says so."""
    entries: list[PartProgress] = []
    monkeypatch.setattr(queries, "progress_sources", [lambda team, assignment: entries])
    return entries
