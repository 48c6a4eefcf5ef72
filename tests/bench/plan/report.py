"""How the rows are printed: what, bar, measured, ratio; how much is run, and from which seeds."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Sequence
from typing import TypeVar

# Rooms at 2 s and 10 s and all published problems; else a shorter run with fewer of each.
FULL = os.environ.get("MAKERLAB_BENCH") == "full"
# Added to every seed: another number gives rooms, failures and histories nobody has seen.
SEEDS_FROM = int(os.environ.get("MAKERLAB_BENCH_SEED", "0"))
T = TypeVar("T")
# A plan without any lateness counts as this share of its peer in a geometric mean.
FLOOR = 0.01


def row(what: str, bar: str, measured: str, ratio: str = "") -> None:
    """One line of the table."""
    print(f"\n{what:<64} bar {bar:<26} measured {measured:<26} {ratio}")


def geometric_mean(ratios: Sequence[float]) -> float:
    """Of ratios, none below FLOOR."""
    return math.exp(sum(math.log(max(ratio, FLOOR)) for ratio in ratios) / len(ratios))


def processor_s(work: Callable[[], T]) -> tuple[float, T]:
    """Seconds of a core the work takes, whatever else the machine is doing meanwhile; and what it gives."""
    began = time.process_time()
    found = work()
    return time.process_time() - began, found


def held(is_so: bool, what: str) -> None:
    """A bar that hangs on the machine's speed: a miss is printed, and fails where ``MAKERLAB_HOLD_BARS=1``."""
    if not is_so:
        print(f"BELOW ITS BAR: {what}")
        assert os.environ.get("MAKERLAB_HOLD_BARS") != "1", what
