"""How the kernels are compiled: kept on disk after the first time, and run without holding Python's lock."""

from __future__ import annotations

from typing import Any

from numba import njit

# Called from Python.
kernel: Any = njit(cache=True, nogil=True)

# Called from other kernels only: leaving out the doors to Python and C halves the compile time.
_INNER: dict[str, Any] = {
    "cache": True,
    "nogil": True,
    "forceinline": True,
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
}
inner: Any = njit(**_INNER)
