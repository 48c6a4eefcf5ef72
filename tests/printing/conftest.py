"""What the tests of the room's plan share."""

from __future__ import annotations

import pytest

from printing.planner import choose as choosing


@pytest.fixture
def short_search(monkeypatch) -> None:
    """A fifth of a second finds the best plan of a handful of plates; the page's second and a half is not needed."""
    monkeypatch.setattr(choosing, "TRY_S", 0.05)
    monkeypatch.setattr(choosing, "SEARCH_S", 0.2)
    monkeypatch.setattr(choosing, "ORDER_S", 0.2)
