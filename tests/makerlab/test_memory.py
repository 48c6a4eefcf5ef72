"""Memory of large uploads goes back to the machine (mallopt(3) of the GNU C library)."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

from tests.conftest import ROOT

# A server's day in small: one large block is freed, then many of a megabyte come and go between small ones that stay.
DAY = """
import psutil
from makerlab.memory import give_large_back
{call}
first = bytearray(8_000_000)
del first
large, small = [], []
for _ in range(60):
    large.append(bytearray(1_000_000))
    large[-1][::4096] = b"x" * len(large[-1][::4096])  # really taken
    small.append(bytearray(6000))
large.clear()
print(psutil.Process().memory_info().rss)
"""


def rest_bytes(call: str) -> int:
    run = [sys.executable, "-c", DAY.format(call=call)]
    return int(subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True, timeout=60).stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only the GNU C library has this threshold")
def test_large_blocks_are_given_back() -> None:
    kept, given_back = rest_bytes(""), rest_bytes("assert give_large_back()")
    assert kept - given_back > 20_000_000
