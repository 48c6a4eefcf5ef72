"""How long a hand-crank hoist takes to lift a load, and how hard the crank is to turn. Pure Python, no Django.

A turn of the drum winds up pi (D + d): the string's middle line lies half its own thickness d outside the drum D. The
drum turns once for ``ratio`` turns of the crank (teeth on the drum's gear over teeth on the crank's). At n turns of the
crank a second the load needs
  t = h ratio / (pi (D + d) n).
Without friction the force at a crank of radius R balances the load: F R ratio = m g (D + d) / 2; work is kept, so a
ratio that halves the force doubles the time. Source: gear ratio and conservation of work are textbook mechanics
(OpenStax College Physics, simple machines, from memory, no page read).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from lessons.science.rolling import G_M_S2
from lessons.science.values import Measured, Unknown, propagated


@dataclass(frozen=True, slots=True)
class Hoist:
    """Height to lift in m, turns of the crank a second, string and drum in m, and the drum's room for string in m."""

    height_m: Measured
    crank_hz: Measured
    drum_m: Measured
    string_m: Measured
    room_m: float = math.inf

    @property
    def turns(self) -> float:
        """Of the drum, for the whole height, as long as the string lies in one layer."""
        return self.height_m.value / (math.pi * (self.drum_m.value + self.string_m.value))

    @property
    def one_layer(self) -> bool:
        """Whether the string has room side by side."""
        return (self.turns + 1) * self.string_m.value <= self.room_m


def lifting_time_s(hoist: Hoist, ratio: float) -> Measured | Unknown:
    """Seconds to lift the load through the whole height. Unknown when the string piles up on the drum."""
    if ratio <= 0:
        return Unknown("a gear ratio is above 0")
    if not hoist.one_layer:
        return Unknown("the string winds over itself, and the drum grows as it turns")

    def time(height: float, hertz: float, drum: float, string: float) -> float:
        return height * ratio / (math.pi * (drum + string) * hertz)

    try:
        return propagated(time, [hoist.height_m, hoist.crank_hz, hoist.drum_m, hoist.string_m])
    except ZeroDivisionError:
        return Unknown("the crank does not turn")


def crank_force_n(hoist: Hoist, ratio: float, load_kg: float, crank_m: float, g: float = G_M_S2) -> float:
    """Force at the handle without friction, N; friction adds some tenths (common practice, no source)."""
    return load_kg * g * (hoist.drum_m.value + hoist.string_m.value) / 2 / (ratio * crank_m)


FLANGE_MM = 2.0  # how much wider than the spool each end of it must be to hold the string
STRAIGHT_MM = 0.6  # a spool whose diameter changes less is straight


@dataclass(frozen=True, slots=True)
class Spool:
    """What a string winds on: diameter of the circle as long as one turn, and how much of the axle is so, in mm."""

    diameter_mm: float
    room_mm: float


def spool_of(heights_mm: Sequence[float], rounds_mm: Sequence[float]) -> Spool | Unknown:
    """The spool of a drum from the length of a string drawn round it at rising heights: the deepest groove between two
    wider places. A string lies on the hull of a spool of any shape, so that length is what a turn winds up."""
    across = [each / math.pi for each in rounds_mm]
    left = list(itertools.accumulate(across, max))
    right = list(itertools.accumulate(reversed(across), max))[::-1]
    depth = [min(a, b) - own for a, b, own in zip(left, right, across, strict=True)]
    deepest = max(depth)
    if deepest < FLANGE_MM:
        return Unknown("the part has no groove between two flanges where a string would stay")
    middle = depth.index(deepest)
    low = high = middle
    while low > 0 and abs(across[low - 1] - across[middle]) < STRAIGHT_MM:
        low -= 1
    while high < len(across) - 1 and abs(across[high + 1] - across[middle]) < STRAIGHT_MM:
        high += 1
    groove = [at for at, each in enumerate(depth) if each > FLANGE_MM / 2]
    room = heights_mm[high] - heights_mm[low]
    if room < (heights_mm[groove[-1]] - heights_mm[groove[0]]) / 3:
        return Unknown("the spool is not straight: the string winds up more at one end than at the other")
    return Spool(sum(across[low : high + 1]) / (high + 1 - low), room)
