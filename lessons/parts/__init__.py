"""Parametric parts of our own for the lessons' kits. Pure Python: no Django.

Every part function returns ``(vertices, faces)``: vertices (n, 3) float64 in millimetres, faces
(m, 3) int32, counter-clockwise seen from outside, standing on z = 0 in the pose it is printed in.
"""

from lessons.parts.cart import Placed, assembled_cart, axle_gauge, axle_holder, chassis
from lessons.parts.hull import STARTING_HULL, HullDesign, hull
from lessons.parts.wheel import STARTING_WHEEL, WheelDesign, wheel, wheel_set

__all__ = [
    "STARTING_HULL",
    "STARTING_WHEEL",
    "HullDesign",
    "Placed",
    "WheelDesign",
    "assembled_cart",
    "axle_gauge",
    "axle_holder",
    "chassis",
    "hull",
    "wheel",
    "wheel_set",
]
