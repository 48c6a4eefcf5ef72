"""The shape of a bore across its axis."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class BoreKind(StrEnum):
    """Shapes of bores by the names of the trade."""

    ROUND = "round"
    D = "D"
    DOUBLE_D = "double D"
    KEYED = "keyed"
    HEXAGONAL = "hexagonal"
    SQUARE = "square"


@dataclass(frozen=True, slots=True)
class BoreShape:
    """What a bore looks like along its axis, in mm; None where its kind has no such measure.

    ``across_flats_mm`` is what a calliper reads: between opposite sides of a hexagon or square, between the flats of a
    double D, from the flat of a D to the round opposite. ``keyway_depth_mm`` reaches from the round of the bore to the
    floor of the keyway, along the keyway's middle (the t2 of hub keyways in ISO/R 773; from memory).
    """

    kind: BoreKind = BoreKind.ROUND
    across_flats_mm: float | None = None
    keyway_width_mm: float | None = None
    keyway_depth_mm: float | None = None
