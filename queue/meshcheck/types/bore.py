"""The shape of a bore across its axis, and how far a hub is from the kit part's."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from meshcheck.types.plain import Unknown, Vector


class BoreKind(StrEnum):
    """Shapes of bores by the names of the trade."""

    ROUND = "round"
    D = "D"
    DOUBLE_D = "double D"
    KEYED = "keyed"
    HEXAGONAL = "hexagonal"
    SQUARE = "square"
    TAPERED = "tapered"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class BoreShape:
    """What a bore looks like along its axis, in mm; None where its kind has no such measure.

    ``across_flats_mm`` is what a calliper reads: between opposite sides of a hexagon or square, between the flats of a
    double D, from the flat of a D to the round opposite. ``keyway_depth_mm`` reaches from the round of the bore to the
    floor of the keyway, along the keyway's middle (the t2 of hub keyways in ISO/R 773; from memory). ``wide_mm`` is the
    diameter of a tapered bore at its wide end; its diameter is that of the narrow one.
    """

    kind: BoreKind = BoreKind.ROUND
    across_flats_mm: float | None = None
    keyway_width_mm: float | None = None
    keyway_depth_mm: float | None = None
    wide_mm: float | None = None


@dataclass(frozen=True, slots=True)
class HubDeviation:
    """How far the hub of a part is from the kit part's, laid over each other by the axis of the bore.

    ``largest_mm`` is the largest distance from surface to surface, both ways, inside the hub; ``place_mm`` where, in
    the frame of the file. It was taken at points ``spacing_mm`` apart and at every corner, so that the true largest
    one is at most that much larger. ``outside_mm`` is by how much the hub's free outside is wider, as a radius.
    """

    largest_mm: float
    place_mm: Vector
    spacing_mm: float
    outside_mm: float | Unknown
