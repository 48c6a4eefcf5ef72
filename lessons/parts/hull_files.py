"""The invented school's redrawn hulls: two sound ones, and one that was scaled as a whole, mast hole and all."""

from __future__ import annotations

from collections.abc import Callable

from lessons.parts.faults import scaled
from lessons.parts.hull import HullDesign, hull
from lessons.parts.solids import MeshArrays

FLARED = HullDesign(flare_mm=5.0)
LONG = HullDesign(floor_length_mm=90.0, height_mm=36.0, rake_mm=12.0, wall_mm=1.4, floor_mm=1.4)
GROWN = 1.1  # the hole for the mast becomes 5.72 mm wide and 8.8 mm deep

HULL_FILES: dict[str, Callable[[], MeshArrays]] = {
    "ducks-hull-1": lambda: hull(FLARED),
    "grebes-hull-1": lambda: scaled(hull(), (GROWN, GROWN, GROWN)),
    "coots-hull-1": lambda: hull(LONG),
}
