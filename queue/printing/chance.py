"""Chances as people read them."""

from __future__ import annotations

MOST = 99  # played courses never prove that nothing can go wrong


def in_100(share: float | None) -> int | None:
    """A share of played courses as a chance in 100; never certain."""
    return None if share is None else min(round(100 * share), MOST)
