"""What the tests of the room's plan share."""

from __future__ import annotations

import pytest

from planning.types import Stop
from printing.planner import choose, meetings, order

STEPS = Stop(iterations=150, prove=False)


@pytest.fixture
def short_search(monkeypatch) -> None:
    """Steps are counted instead of time: enough for a handful of plates, and the same plan on a busy machine."""
    for module, names in ((choose, ("TRY", "QUICK", "SEARCH", "ORDER")), (order, ("FOLLOW",)), (meetings, ("SEARCH",))):
        for name in names:
            monkeypatch.setattr(module, name, STEPS)
    monkeypatch.setattr(meetings, "HELP_S", 600.0)  # every remedy is tried
