"""The columns in which support stands, as ``overhang`` finds them and ``layers.support`` draws them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class SupportColumns:
    """Upright columns of support in rows of a grid whose rows run at ``angle_rad`` to the x axis.

    row (n,) int32: row r lies at ``first_mm + r * pitch_mm`` across. along_mm (n,): the column's middle along its row.
    bottom_mm, top_mm (n,): heights above the part's lowest point. Ordered by row, then along, then height; a column
    may hold support at several heights. Every column is ``pitch_mm`` wide both ways.
    """

    angle_rad: float
    pitch_mm: float
    first_mm: float
    row: NDArray[np.int32]
    along_mm: NDArray[np.float64]
    bottom_mm: NDArray[np.float64]
    top_mm: NDArray[np.float64]
