"""A small wind turbine with flat blades before a fan: which pitch turns it fastest. Pure Python, no Django.

Blade elements and momentum: at radius r the air comes at V (1 - a) along the axis and Omega r (1 + a') across, at the
angle phi to the rotor's plane. The blade's forces there must equal what slows the air down:
  a / (1 - a) = sigma C_n / (4 sin(phi)^2),  a' / (1 + a') = sigma C_t / (4 sin(phi) cos(phi)),  sigma = B c / (2 pi r)
with an empirical curve above a = 0.4. One equation in phi is left and is bisected, which always ends: S. A. Ning, A
simple solution method for the blade element momentum equations, Wind Energy 17 (2014) (from memory, no page read).
Without drag and tips no rotor takes more than 16/27 of the wind's power: the limit of Betz.

Flat printed plates before a household fan are outside all tables: their lift and drag are rough figures here, the fan's
stream is neither even nor straight, and the motor's friction is hardly known. What holds whatever the figures is the
trend: hardly any turning at 0 degrees, a best pitch at small angles, less and less beyond. Volts are not predicted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessons.science.values import Unknown

BETZ = 16 / 27
AIR_KG_M3 = 1.2  # dry air at 20 degrees C; common table value, from memory
STALLED, SQUARE_ON = 0.75, 1.17  # normal force of a thin plate just stalled and square on; rough, from memory
SKIN = 0.03  # drag along the plate, both faces; rough, from memory
ELEMENTS = 12

BISECTIONS = 40
SCAN_STEPS, REFINED, ROUNDS = (
    24,
    16,
    5,
)  # quarters of the speed ratio looked through at once; parts of the one that counts

Floats = NDArray[np.floating[Any]]
Section = Callable[[Floats], tuple[Floats, Floats]]  # angles of attack in radians -> lift and drag coefficients


def flat_plate(aspect: float) -> Section:
    """Lift and drag coefficient of a thin flat plate of this aspect ratio at any angle of attack.

    The normal force rises with slope 2 pi A / (A + 2) (thin aerofoil, finite span), until it stalls; from there it
    grows to that of a plate square on. Rough figures, from memory.
    """
    slope = 2 * math.pi * aspect / (aspect + 2)

    def section(alpha: Floats) -> tuple[Floats, Floats]:
        s = np.sin(alpha)
        size = np.minimum(slope * np.abs(s), STALLED + (SQUARE_ON - STALLED) * np.abs(s))
        normal = np.copysign(size, s)
        return normal * np.cos(alpha) - SKIN * s, normal * s + SKIN * np.abs(np.cos(alpha))

    return section


@dataclass(frozen=True, slots=True)
class Rotor:
    """Blades of chord ``chord(r)`` and twist-free or twisted pitch from ``hub_m`` to ``tip_m``, lengths in m.

    ``pitch(r)`` in radians from the plane of the rotor.
    """

    blades: int
    hub_m: float
    tip_m: float
    chord: Callable[[float], float]
    pitch: Callable[[float], float]
    section: Section

    @property
    def area_m2(self) -> float:
        return math.pi * self.tip_m**2


def plain_rotor(
    pitch_deg: float, blades: int = 3, hub_m: float = 0.025, tip_m: float = 0.1, chord_m: float = 0.024
) -> Rotor:
    """Flat blades of one chord, all at one pitch; lengths in m."""
    pitch = math.radians(pitch_deg)
    return Rotor(blades, hub_m, tip_m, lambda _r: chord_m, lambda _r: pitch, flat_plate((tip_m - hub_m) / chord_m))


def torque_nm(rotor: Rotor, wind_m_s: float, turning_rad_s: float, air_kg_m3: float = AIR_KG_M3) -> float:
    """Torque of the air on the rotor, N m; below 0 where the blades brake."""
    return float(torques_nm(rotor, wind_m_s, np.array([turning_rad_s]), air_kg_m3)[0])


def torques_nm(rotor: Rotor, wind_m_s: float, turning_rad_s: Floats, air_kg_m3: float = AIR_KG_M3) -> Floats:
    """The same at several speeds (n,) at once."""
    step = (rotor.tip_m - rotor.hub_m) / ELEMENTS
    radii: Floats = rotor.hub_m + (np.arange(ELEMENTS) + 0.5) * step
    elements = _Elements.of(rotor, radii)
    turning = np.maximum(turning_rad_s, 1e-6)[:, None]
    phi = _flow_angle(elements, turning * radii / wind_m_s)
    axial, _around, across = elements.induced(phi)
    speed = wind_m_s * (1 - axial) / np.sin(phi)
    each: Floats = rotor.blades * air_kg_m3 / 2 * speed**2 * elements.chord * across * radii
    total: Floats = each.sum(axis=1) * step
    return total


@dataclass(frozen=True, slots=True)
class _Elements:
    """Rings of the rotor, each (k,): chord in m, pitch in radians, solidity."""

    section: Section
    chord: Floats
    pitch: Floats
    solidity: Floats

    @classmethod
    def of(cls, rotor: Rotor, radii: Floats) -> _Elements:
        chord = np.array([rotor.chord(float(r)) for r in radii])
        pitch = np.array([rotor.pitch(float(r)) for r in radii])
        return cls(rotor.section, chord, pitch, rotor.blades * chord / (2 * np.pi * radii))

    def induced(self, phi: Floats) -> tuple[Floats, Floats, Floats]:
        """Axial induction a, a' / (1 + a') from the blade's forces at these flow angles (n, k), and the force
        coefficient across."""
        lift, drag = self.section(phi - self.pitch)
        sine, cosine = np.sin(phi), np.cos(phi)
        along, across = lift * cosine + drag * sine, lift * sine - drag * cosine
        k = self.solidity * along / (4 * sine**2)
        far = 2 * k - 7 / 9
        with np.errstate(divide="ignore", invalid="ignore"):
            windmill = k / (1 + k)
            # the wake is turbulent: empirical curve through a = 0.4
            turbulent = (2 * k - 1 / 9 - np.sqrt(np.maximum(2 * k - 1 / 3, 0.0))) / far
        turbulent = np.where(np.abs(far) > 1e-9, turbulent, 0.43)
        axial = np.where(k <= -1, 0.0, np.where(k <= 2 / 3, windmill, turbulent))
        return axial, self.solidity * across / (4 * sine * cosine), across


def _flow_angle(elements: _Elements, speed_ratio: Floats) -> Floats:
    """phi where wind and turning agree with the induction, by bisection between 0 and 90 degrees, as (n, k)."""
    low, high = np.full_like(speed_ratio, 1e-6), np.full_like(speed_ratio, math.pi / 2 - 1e-9)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        axial, around, _across = elements.induced(middle)
        below = np.sin(middle) / (1 - axial) - np.cos(middle) / speed_ratio * (1 - around) < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    phi: Floats = (low + high) / 2
    return phi


def power_share(rotor: Rotor, speed_ratio: float, wind_m_s: float = 4.0) -> float:
    """Power coefficient: the share of the wind's power through the rotor's circle, at tip speed over wind speed."""
    turning = speed_ratio * wind_m_s / rotor.tip_m
    wind_power = AIR_KG_M3 / 2 * rotor.area_m2 * wind_m_s**3
    return torque_nm(rotor, wind_m_s, turning) * turning / wind_power


@dataclass(frozen=True, slots=True)
class Generator:
    """A small motor turned backward: volts for each rad/s, its friction torque, and the resistances in the circuit."""

    volts_per_rad_s: float = 0.003
    friction_nm: float = 1e-4
    inside_ohm: float = 5.0
    load_ohm: float = 47.0

    def torque_nm(self, turning_rad_s: float) -> float:
        current = self.volts_per_rad_s * turning_rad_s / (self.inside_ohm + self.load_ohm)
        return self.friction_nm + self.volts_per_rad_s * current

    def volts(self, turning_rad_s: float) -> float:
        """Across the load."""
        whole = self.inside_ohm + self.load_ohm
        return self.volts_per_rad_s * turning_rad_s * self.load_ohm / whole


def steady_turning(rotor: Rotor, generator: Generator, wind_m_s: float) -> float | Unknown:
    """Where the air's torque is the generator's, rad/s. Unknown when the rotor does not start by itself."""
    if torque_nm(rotor, wind_m_s, 0.0) <= generator.friction_nm:
        return Unknown("it does not start by itself: the friction is larger than the torque at rest")

    def left(turning: Floats) -> Floats:
        asked: Floats = np.array([generator.torque_nm(float(each)) for each in turning])
        found: Floats = torques_nm(rotor, wind_m_s, turning) - asked
        return found

    step = wind_m_s / rotor.tip_m / 4
    tried: Floats = step * np.arange(SCAN_STEPS + 1)
    while True:  # the first step on which friction and load have overtaken the air
        behind = np.flatnonzero(left(tried[1:]) <= 0)
        if len(behind):
            break
        tried = tried[-1] + step * np.arange(SCAN_STEPS + 1)
    low, high = tried[behind[0]], tried[behind[0] + 1]
    for _ in range(ROUNDS):
        between: Floats = np.linspace(low, high, REFINED + 1, dtype=np.float64)
        still = np.flatnonzero(left(between) > 0)
        at = int(still[-1]) if len(still) else 0
        low, high = between[at], between[min(at + 1, REFINED)]
    return float(low + high) / 2


def expected_volts(pitch_deg: float, generator: Generator, wind_m_s: float, blades: int = 3) -> float:
    """A rough figure for one pitch, 0 when the rotor does not start; for the shape of the curve, not a prediction."""
    turning = steady_turning(plain_rotor(pitch_deg, blades), generator, wind_m_s)
    return 0.0 if isinstance(turning, Unknown) else generator.volts(turning)


def best_pitch_deg(generator: Generator, wind_m_s: float, blades: int = 3) -> float:
    """The whole degree from 1 to 60 with the most volts."""
    return float(max(range(1, 61), key=lambda degrees: expected_volts(degrees, generator, wind_m_s, blades)))


def pull_on_blade_n(mass_kg: float, centre_m: float, turning_rad_s: float) -> float:
    """What holds a blade on its rod must hold: m r omega^2 (OpenStax University Physics volume 1, section 6.3, from
    memory)."""
    return mass_kg * centre_m * turning_rad_s**2
