"""Parametric parts of our own for the lessons' kits. Pure Python: no Django.

Every part function returns ``(vertices, faces)``: vertices (n, 3) float64 in millimetres, faces
(m, 3) int32, counter-clockwise seen from outside, standing on z = 0 in the pose it is printed in.
"""

from lessons.parts.cart import Placed, assembled_cart, axle_gauge, axle_holder, chassis
from lessons.parts.hoist import GEARS, STARTING_DRUM, DrumDesign, hoist_bracket, hoist_crank, hoist_drum
from lessons.parts.hull import STARTING_HULL, HullDesign, hull
from lessons.parts.launcher import STARTING_ARM, ArmDesign, launcher_arm, launcher_other_side, launcher_side
from lessons.parts.turbine import (
    STARTING_BLADE,
    BladeDesign,
    pitch_gauge,
    turbine_blade,
    turbine_hub,
    turbine_nacelle,
)
from lessons.parts.wheel import STARTING_WHEEL, WheelDesign, wheel, wheel_set

__all__ = [
    "GEARS",
    "STARTING_ARM",
    "STARTING_BLADE",
    "STARTING_DRUM",
    "STARTING_HULL",
    "STARTING_WHEEL",
    "ArmDesign",
    "BladeDesign",
    "DrumDesign",
    "HullDesign",
    "Placed",
    "WheelDesign",
    "assembled_cart",
    "axle_gauge",
    "axle_holder",
    "chassis",
    "hoist_bracket",
    "hoist_crank",
    "hoist_drum",
    "hull",
    "launcher_arm",
    "launcher_other_side",
    "launcher_side",
    "pitch_gauge",
    "turbine_blade",
    "turbine_hub",
    "turbine_nacelle",
    "wheel",
    "wheel_set",
]
