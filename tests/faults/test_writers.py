"""Many writers on one SQLite file: nobody is told that it is locked, and no count is lost. See writers.py; thirty for
ten seconds are in tests/bench/trust."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.faults.programs import answer_of

pytestmark = pytest.mark.slow


def none_locked_none_lost(found: dict[str, Any]) -> None:
    assert found["trouble"] == []
    assert found["idle"] == 0, "each must have written"
    assert found["wrote"] == found["counted"] == found["events"]


def test_twelve_writers_wait_for_each_other(tmp_path: Path) -> None:
    none_locked_none_lost(answer_of("tests.faults.writers", "embedded", tmp_path, "--writers", 12, "--seconds", 2))
