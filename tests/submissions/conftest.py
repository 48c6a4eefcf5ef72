"""Fixtures for tests of submissions."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from lessons.models import Assignment, Team
from submissions import queries
from submissions.progress import PartProgress
from submissions.signals import approved, undone, withdrawn


class Telling:
    """A progress source that tells what it was told."""

    def __init__(self) -> None:
        self.entries: list[PartProgress] = []

    def rows(self, _team_id: int, _assignment_id: int) -> list[PartProgress]:
        return list(self.entries)

    def told(self, rows: list[PartProgress], _team: Team, _assignment: Assignment) -> list[PartProgress]:
        return rows


@pytest.fixture(autouse=True)
def _nobody_listens() -> Iterator[None]:
    """Printing, a higher layer, has tests of its own for what it does when a part is approved or withdrawn."""
    kept = {signal: signal.receivers for signal in (approved, undone, withdrawn)}
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
    source = Telling()
    monkeypatch.setattr(queries, "progress_sources", [source])
    return source.entries
