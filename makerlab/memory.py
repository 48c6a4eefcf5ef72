"""Memory that goes back to the machine: what a server took for large uploads is not kept for good."""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress

M_MMAP_THRESHOLD = -3  # malloc.h of the GNU C library
LARGE_BYTES = 128 * 1024  # its default


def give_large_back() -> bool:
    """Take blocks above LARGE_BYTES from the machine one by one, as the GNU C library does until the first of them is
    freed; from then on it takes larger and larger ones from its heap, where small ones that live longer hold them
    (mallopt(3): the dynamic threshold). Whether it could be set: False with another C library."""
    if not sys.platform.startswith("linux"):
        return False
    with suppress(OSError, AttributeError):
        return bool(ctypes.CDLL(None).mallopt(M_MMAP_THRESHOLD, LARGE_BYTES))
    return False
