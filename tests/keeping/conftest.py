"""A disk of one megabyte, to be filled."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system in memory with 1 MB. Needs the right to mount one; skipped without it."""
    folder = tmp_path / "small-disk"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "makerlab-test", str(folder)], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("a small disk cannot be mounted here: this account may not")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)
