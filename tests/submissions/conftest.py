"""Fixtures for tests of submissions."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from submissions import queries
from submissions.progress import PartProgress
from submissions.signals import approved, undone, withdrawn


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
    entries: list[PartProgress] = []
    monkeypatch.setattr(queries, "progress_sources", [lambda team, assignment: entries])
    return entries
