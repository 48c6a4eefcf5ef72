"""The long search for files that are measured wrong: ``pytest tests/bench/mesh/test_search.py -m bench``."""

from __future__ import annotations

import pytest

from tests.meshcheck.test_heldout import hold

pytestmark = pytest.mark.bench


def test_three_hundred_random_files() -> None:
    hold(range(31_000, 31_300))
