"""The full count: thirty processes write for ten seconds into one SQLite file."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults.programs import answer_of
from tests.faults.test_writers import none_locked_none_lost

pytestmark = [pytest.mark.bench, pytest.mark.slow]


def test_30_writers_10_seconds(tmp_path: Path) -> None:
    found = answer_of("tests.faults.writers", "embedded", tmp_path, "--writers", 30, "--seconds", 10)
    none_locked_none_lost(found)
    print(f"\n30 writers, 10 s: {found['wrote']} transactions, locked {len(found['trouble'])}, counts lost 0")
    print(f"  the slowest waited {found['slowest_s']} s of the 20 s it may")
