"""Geometry of involute spur gears, and how a pair of them meshes. Pure Python, no Django.

Lengths in mm, angles in radians unless a name says otherwise. The flank is the involute of the base circle
d_b = m z cos(alpha); with inv(alpha) = tan(alpha) - alpha the tooth is at diameter d
  s(d) = d (s / (m z) + inv(alpha) - inv(alpha_d)),  cos(alpha_d) = d_b / d,  s = m (pi / 2 + 2 x tan(alpha)).
A rack of the same teeth cuts into the foot of a gear of fewer than z = 2 / sin(alpha)^2 teeth (17.1 at 20 degrees)
unless its profile is shifted outward by x >= 1 - z sin(alpha)^2 / 2. Sources: ISO 53 (basic rack: addendum 1, dedendum
1.25, 20 degrees) and ISO 21771 (geometry), both from memory, no page read; a public notebook on spur gear geometry
gives the same formulas (read).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ALPHA = math.radians(20)
ADDENDUM, DEDENDUM = 1.0, 1.25  # in modules


def involute(alpha: float) -> float:
    """inv(alpha) = tan(alpha) - alpha."""
    return math.tan(alpha) - alpha


def angle_of_involute(value: float) -> float:
    """The angle whose involute this is, by Newton's method. Raises ValueError below 0."""
    if value < 0:
        raise ValueError("an involute cannot be below 0")
    alpha: float = min(math.cbrt(3 * value), 1.4)
    for _ in range(60):
        step = (involute(alpha) - value) / max(math.tan(alpha) ** 2, 1e-12)
        alpha = min(max(alpha - step, 0.0), 1.55)
        if abs(step) < 1e-15:
            break
    return alpha


def fewest_teeth(alpha: float = ALPHA) -> float:
    """Teeth below which a rack undercuts a gear without profile shift: 17.1 at 20 degrees."""
    return 2 * ADDENDUM / math.sin(alpha) ** 2


def shift_needed(teeth: int, alpha: float = ALPHA) -> float:
    """The least profile shift x that keeps a rack from undercutting; 0 where none is needed."""
    return max(0.0, least_shift(teeth, alpha))


def least_shift(teeth: int, alpha: float = ALPHA) -> float:
    """How far inward a gear may be shifted, x below 0, or must be shifted outward, before a rack undercuts it."""
    return ADDENDUM - teeth * math.sin(alpha) ** 2 / 2


@dataclass(frozen=True, slots=True)
class SpurGear:
    """Teeth and module of one gear; ``shift`` x in modules; ``thinning_mm`` taken off each tooth at the pitch circle,
    half on each flank, for play."""

    module_mm: float
    teeth: int
    shift: float = 0.0
    thinning_mm: float = 0.0
    alpha: float = ALPHA

    def __post_init__(self) -> None:
        if self.module_mm <= 0 or self.teeth < 5:
            raise ValueError("a gear has a module above 0 and five teeth at least")
        if self.shift < least_shift(self.teeth, self.alpha) - 1e-9:
            raise ValueError(f"{self.teeth} teeth are undercut without a profile shift")
        if self.thickness_mm(self.tip_mm) < 0.2 * self.module_mm:
            raise ValueError("the teeth are pointed: take a smaller shift")

    @property
    def pitch_mm(self) -> float:
        """Diameter of the pitch circle, m z."""
        return self.module_mm * self.teeth

    @property
    def base_mm(self) -> float:
        return self.pitch_mm * math.cos(self.alpha)

    @property
    def tip_mm(self) -> float:
        return self.pitch_mm + 2 * self.module_mm * (ADDENDUM + self.shift)

    @property
    def root_mm(self) -> float:
        return self.pitch_mm - 2 * self.module_mm * (DEDENDUM - self.shift)

    @property
    def base_pitch_mm(self) -> float:
        """From tooth to tooth along the line of action: pi m cos(alpha)."""
        return math.pi * self.module_mm * math.cos(self.alpha)

    def thickness_mm(self, diameter_mm: float) -> float:
        """Of a tooth, along the circle of this diameter. Raises ValueError inside the base circle."""
        if diameter_mm < self.base_mm - 1e-9:
            raise ValueError("there is no involute inside the base circle")
        there = math.acos(min(1.0, self.base_mm / diameter_mm))
        at_pitch = self.module_mm * (math.pi / 2 + 2 * self.shift * math.tan(self.alpha)) - self.thinning_mm
        return diameter_mm * (at_pitch / self.pitch_mm + involute(self.alpha) - involute(there))


@dataclass(frozen=True, slots=True)
class Mesh:
    """Two gears at a distance of their axes. ``spread_mm`` is how much further apart they stand than without play."""

    driving: SpurGear
    driven: SpurGear
    spread_mm: float = 0.0

    def __post_init__(self) -> None:
        if not math.isclose(self.driving.base_pitch_mm, self.driven.base_pitch_mm):
            raise ValueError("gears of different base pitch do not mesh")

    @property
    def ratio(self) -> float:
        """Turns of the driving gear for one turn of the driven."""
        return self.driven.teeth / self.driving.teeth

    @property
    def close_mm(self) -> float:
        """Distance of the axes at which teeth without thinning touch on both flanks."""
        one, two = self.driving, self.driven
        teeth = one.teeth + two.teeth
        working = involute(one.alpha) + 2 * math.tan(one.alpha) * (one.shift + two.shift) / teeth
        return one.module_mm * teeth / 2 * math.cos(one.alpha) / math.cos(angle_of_involute(working))

    @property
    def distance_mm(self) -> float:
        return self.close_mm + self.spread_mm

    @property
    def working_alpha(self) -> float:
        """Pressure angle at this distance: cos = (r_b1 + r_b2) / distance."""
        return math.acos((self.driving.base_mm + self.driven.base_mm) / 2 / self.distance_mm)

    @property
    def contact_ratio(self) -> float:
        """How many pairs of teeth touch on average; below 1 the drive knocks."""

        def reach(gear: SpurGear) -> float:
            return math.sqrt(gear.tip_mm**2 - gear.base_mm**2) / 2

        path = reach(self.driving) + reach(self.driven) - self.distance_mm * math.sin(self.working_alpha)
        return path / self.driving.base_pitch_mm

    @property
    def backlash_mm(self) -> float:
        """Play along the working pitch circles: their pitch less both teeth."""
        scale = 2 * self.distance_mm / (self.driving.teeth + self.driven.teeth)
        pitch = math.pi * scale
        thick = sum(gear.thickness_mm(scale * gear.teeth) for gear in (self.driving, self.driven))
        return pitch - thick

    @property
    def clearance_mm(self) -> float:
        """The smaller of the two gaps between a tip and the other gear's root."""
        one, two = self.driving, self.driven
        tips = (one.tip_mm + two.root_mm, two.tip_mm + one.root_mm)
        return self.distance_mm - max(tips) / 2
