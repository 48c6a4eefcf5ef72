"""Migrations on the district's tables: how long each takes, and which tables are locked for writing meanwhile."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from tests.bench.size.beside import beside

EVERY_S = 0.02
# who holds such a lock keeps writers waiting (PostgreSQL, "Table-Level Locks"); the last one readers, too
KEEPING_OUT = ("ShareLock", "ShareRowExclusiveLock", "ExclusiveLock", "AccessExclusiveLock")
HELD = """
SELECT DISTINCT c.relname FROM pg_locks AS l JOIN pg_class AS c ON c.oid = l.relation
WHERE l.database = (SELECT oid FROM pg_database WHERE datname = current_database())
AND c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace AND l.granted AND l.mode = ANY(%s)
"""
# Migrations that change tables which grow with the schools. Taken back, submissions 0006 loses the values of its
# column: an installation that comes from the release before has none either, when 0007 builds its index.
NEWEST = (
    ("submissions", "0005_rows_of_a_file"),
    ("lessons", "0018_rows_of_a_file"),
    ("work", "0006_indexes_of_turns"),
    ("submissions", "0007_submissions_of_a_design"),
    ("printing", "0013_newest_plan_of_a_room"),
    ("printing", "0014_runs_that_ended"),
)


@dataclass
class Taken:
    """One migration: its seconds, and for how many each table was seen locked against writers."""

    name: str
    seconds: float = 0.0
    locked_s: dict[str, float] = field(default_factory=dict)


def again(newest: tuple[tuple[str, str], ...] = NEWEST) -> Iterator[Taken]:
    """Take each of the migrations back and do it again."""
    for app, name in newest:
        loader = MigrationLoader(connection)
        (before,) = (key for key in loader.graph.node_map[app, name].parents if key[0] == app)
        call_command("migrate", app, before[1], verbosity=0)
        yield timed(f"{app} {name[:4]}", lambda app=app, name=name: call_command("migrate", app, name, verbosity=0))
    call_command("migrate", verbosity=0)


def timed(name: str, act: Any) -> Taken:
    """Do one thing, looking at the locks meanwhile."""
    taken = Taken(name)
    with _looking() as seen:
        begun = time.perf_counter()
        act()
        taken.seconds = time.perf_counter() - begun
    taken.locked_s = {table: round(count * EVERY_S, 2) for table, count in seen.most_common()}
    return taken


@contextmanager
def _looking() -> Iterator[Counter[str]]:
    """How often each table was seen locked."""
    seen: Counter[str] = Counter()

    def look() -> None:
        with connection.cursor() as cursor:
            cursor.execute(HELD, [list(KEEPING_OUT)])
            seen.update(table for (table,) in cursor.fetchall())

    with beside(look, EVERY_S):
        yield seen
