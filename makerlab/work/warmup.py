"""Compile the numerical kernels before the first job needs them, and say how far it is."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import meshcheck.warmup
import planning.warmup
from makerlab.work.warmth import note_warm


def warm_up(say: Callable[[str], None], stop: threading.Event | None = None) -> float:
    """Run every kernel once on something small. Compiled code is kept on disk: only the first time takes long.

    ``say`` gets a line for each step. Returns the seconds it took.
    """
    steps = [*meshcheck.warmup.kernels(), *planning.warmup.kernels()]
    began = time.perf_counter()
    for number, (name, run) in enumerate(steps, 1):
        if stop is not None and stop.is_set():
            break
        since = time.perf_counter()
        run()
        took = time.perf_counter() - since
        if took > 0.5 or number == len(steps):
            say(f"Preparing the measuring and planning engine: {number} of {len(steps)} ({name}, {took:.1f} s)")
    else:
        note_warm()
    return time.perf_counter() - began
