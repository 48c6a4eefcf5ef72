"""Chances as people read them."""

from __future__ import annotations


def in_100(share: float | None) -> int | None:
    """A share as a chance in 100, never rounded up to certain."""
    return None if share is None else min(round(100 * share), 99 if share < 1 else 100)
