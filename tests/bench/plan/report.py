"""How the rows are printed: what, bar, measured, ratio; and how much is run."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence

# Rooms at 2 s and 10 s and all published problems; else a shorter run with fewer of each.
FULL = os.environ.get("MAKERLAB_BENCH") == "full"
# A plan without any lateness counts as this share of its peer in a geometric mean.
FLOOR = 0.01


def row(what: str, bar: str, measured: str, ratio: str = "") -> None:
    """One line of the table."""
    print(f"\n{what:<64} bar {bar:<26} measured {measured:<26} {ratio}")


def geometric_mean(ratios: Sequence[float]) -> float:
    """Of ratios, none below FLOOR."""
    return math.exp(sum(math.log(max(ratio, FLOOR)) for ratio in ratios) / len(ratios))
