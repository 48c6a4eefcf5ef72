"""Why a face of a part is pointed out: one bit per reason, several may hold for one face."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

STEEP, RESTING, THIN, OPEN, CROSSING = 1, 2, 4, 8, 16
NAMES = {"steep": STEEP, "resting": RESTING, "thin": THIN, "open": OPEN, "crossing": CROSSING}
Flags = NDArray[np.uint8]


def counts(flags: Flags) -> dict[str, int]:
    """Faces per reason, by name; only those that occur."""
    found = {name: int(np.count_nonzero(flags & bit)) for name, bit in NAMES.items()}
    return {name: count for name, count in found.items() if count}
