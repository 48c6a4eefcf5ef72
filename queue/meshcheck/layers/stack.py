"""At which heights a part is cut: the first layer may be thicker or thinner than the others."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from meshcheck.types import FloatArray, PrintSettings


@dataclass(frozen=True, slots=True, eq=False)
class Stack:
    """The layers of one part, lowest first, heights measured from the part's lowest point.

    bottom_mm, thickness_mm (L,): the top layer reaches exactly to the top of the part, so the thicknesses add up to
    its height. printed_mm (L,) is what the printer lays down, the same for all but the first.
    """

    bottom_mm: FloatArray
    thickness_mm: FloatArray
    printed_mm: FloatArray

    @property
    def middle_mm(self) -> FloatArray:
        """(L,) the cutting planes."""
        middle: FloatArray = self.bottom_mm + self.thickness_mm / 2
        return middle

    def __len__(self) -> int:
        return len(self.bottom_mm)


def stack_for(height_mm: float, settings: PrintSettings) -> Stack:
    """The layers of a part ``height_mm`` tall: at least one, the last rounded to the nearest whole layer.

    On a raft the part starts with an ordinary layer, because there the raft's lowest layer is the first on the bed.
    """
    layer = settings.layer_height_mm
    first = layer if settings.raft_layers else settings.first_layer_mm
    # a hair added before rounding, so that 20.1 mm in 0.2 mm layers does not depend on the last bit
    more = max(0, math.floor((height_mm - first) / layer + 0.5 + 1e-9))
    printed = np.full(more + 1, layer)
    printed[0] = first
    bottom = np.concatenate([[0.0], first + layer * np.arange(more)])
    thickness = np.diff(np.append(bottom, height_mm))
    return Stack(bottom, thickness, printed)
