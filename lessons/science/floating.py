"""How deep a loaded hull sits in water, from its mesh: Archimedes' principle. Pure Python, no Django.

The hull floats upright and its rim is level. Water fills nothing until it comes over the rim, so what counts is the
outside: for each height the area enclosed by the outer outline of the section there.
Sources: Archimedes' principle, OpenStax University Physics volume 1, section 14.4 (from memory, no page read);
trapezoid rule, exact for walls that are upright in one direction and straight in the other.
"""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from lessons.science.values import Unknown

WATER_G_PER_CM3 = 0.998  # fresh water at 20 degrees C; common table value, from memory


@dataclass(frozen=True, slots=True)
class Displacement:
    """Heights above the keel in mm, rising, and the volume in mm3 the hull pushes away when in up to each."""

    heights_mm: tuple[float, ...]
    volumes_mm3: tuple[float, ...]
    water_g_per_cm3: float = WATER_G_PER_CM3

    @property
    def depth_mm(self) -> float:
        """From the keel to the rim."""
        return self.heights_mm[-1]

    def capacity_g(self) -> float:
        """Hull and load together when the water stands at the rim."""
        return self.volumes_mm3[-1] / 1000 * self.water_g_per_cm3

    def load_before_sinking_g(self, hull_g: float) -> float:
        """The load at which no freeboard is left; below 0 when the empty hull does not float."""
        return self.capacity_g() - hull_g

    def draught_mm(self, total_g: float) -> float | Unknown:
        """How deep the keel is under water with this mass of hull and load."""
        wanted = total_g / self.water_g_per_cm3 * 1000
        if wanted < 0:
            return Unknown("a mass cannot be below 0")
        if wanted > self.volumes_mm3[-1] * (1 + 1e-12):
            return Unknown("it sinks: the load is more than the hull can push away")
        above = min(max(bisect.bisect_left(self.volumes_mm3, wanted), 1), len(self.heights_mm) - 1)
        v0, v1 = self.volumes_mm3[above - 1 : above + 1]
        h0, h1 = self.heights_mm[above - 1 : above + 1]
        return h0 if v1 == v0 else min(h1, h0 + (h1 - h0) * (wanted - v0) / (v1 - v0))

    def freeboard_mm(self, total_g: float) -> float | Unknown:
        """From the water up to the rim."""
        draught = self.draught_mm(total_g)
        return draught if isinstance(draught, Unknown) else self.depth_mm - draught


BREACH_SHARE = 0.7  # what is left of the enclosed area where an outline opens; walls that lean in lose less a step


def edge_of(areas_mm2: Sequence[float]) -> int:
    """Which of the evenly spread sections, from 0, is the highest before water comes in. Where a side ends lower than
    the rest, or only a mast stands on, the outline opens and the area it encloses falls at once. Raises ValueError."""
    if len(areas_mm2) < 2:
        raise ValueError("two sections are wanted at least")
    for above in range(1, len(areas_mm2)):
        if areas_mm2[above] < BREACH_SHARE * areas_mm2[above - 1]:
            return max(above - 1, 1)
    return len(areas_mm2) - 1


def displacement(
    heights_mm: Sequence[float], areas_mm2: Sequence[float], water_g_per_cm3: float = WATER_G_PER_CM3
) -> Displacement:
    """From the outer areas at rising heights, the first at the keel, the last at the rim. Raises ValueError."""
    if len(heights_mm) != len(areas_mm2) or len(heights_mm) < 2:
        raise ValueError("as many areas as heights are wanted, two at least")
    if any(b <= a for a, b in itertools.pairwise(heights_mm)):
        raise ValueError("heights must rise")
    if min(areas_mm2) < 0 or water_g_per_cm3 <= 0:
        raise ValueError("areas and the water's density cannot be below 0")
    volumes = [0.0]
    for k in range(1, len(heights_mm)):
        step = heights_mm[k] - heights_mm[k - 1]
        volumes.append(volumes[-1] + step * (areas_mm2[k] + areas_mm2[k - 1]) / 2)
    zero = heights_mm[0]
    return Displacement(tuple(h - zero for h in heights_mm), tuple(volumes), water_g_per_cm3)
