"""A lever launcher driven by a falling weight: how fast the ball leaves, and how far it flies. Pure Python, no Django.

The arm turns about its pivot. The ball lies in a cup ``long_m`` from the pivot; the weight is fixed ``short_m`` on the
other side. Let go with its long side ``start_deg`` below the level, the arm turns until a stop holds it ``stop_deg``
above the level, and the ball leaves at a right angle to the arm: it climbs at 90 - ``stop_deg`` degrees.

Energy balance without friction, with S = sin(start) + sin(stop):
  fall of the weight less rise of ball and arm    E = g S (M b - m a - m_arm c)
  all of it in the spin of the arm                E = 1/2 w^2 (I_arm + M (b^2 + r^2 / 2) + m a^2),    v = a w
with r the radius of the weight, a round stack of washers fixed to the arm, so that it turns with it.
``share`` of E is left after friction in the pivot and the give of arm and stand.
Then free flight from the height of the cup down to the floor, with or without drag. Level ground, no drag:
R = v^2 sin(2 angle) / g. Sources: energy of a rotating body, OpenStax University Physics volume 1, section 10.4 (from
memory, no page read); free flight and range, section 4.3 (read); drag of a sphere F = 1/2 rho C A v^2, section 6.4
(from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from lessons.science.rolling import G_M_S2
from lessons.science.values import Measured, Unknown, exactly, propagated

AIR_KG_M3 = 1.2  # dry air at 20 degrees C; common table value, from memory
SPHERE_DRAG = 0.47  # smooth sphere below the drag crisis; common table value, from memory
STEP_S = 2e-4


@dataclass(frozen=True, slots=True)
class Ball:
    """What flies: mass in kg and diameter in m."""

    mass_kg: float
    diameter_m: float
    drag: float = SPHERE_DRAG

    def drag_per_m(self) -> float:
        """Deceleration by drag is this times speed squared, 1/m."""
        area = math.pi * self.diameter_m**2 / 4
        return AIR_KG_M3 * self.drag * area / 2 / self.mass_kg


@dataclass(frozen=True, slots=True)
class Arm:
    """The lever about its pivot: mass, spin inertia, and ``centre_m``: how far its mass centre is on the long side."""

    mass_kg: Measured
    inertia_kg_m2: Measured
    centre_m: Measured
    long_m: Measured


@dataclass(frozen=True, slots=True)
class Launcher:
    """The stand and its weight. ``pivot_m``: height of the pivot above the floor the ball lands on."""

    weight_kg: Measured
    ball: Ball
    pivot_m: Measured
    start_deg: float
    stop_deg: float
    weight_radius_m: float = 0.0
    share: Measured = exactly(1.0)  # noqa: RUF009 - a frozen value

    @property
    def swing(self) -> float:
        """sin(start) + sin(stop): the height a point 1 m from the pivot goes through, m."""
        return math.sin(math.radians(self.start_deg)) + math.sin(math.radians(self.stop_deg))


@dataclass(frozen=True, slots=True)
class Launch:
    """Speed of the ball in m/s, energy it takes along in J, and range from under the pivot in m."""

    speed_m_s: Measured
    energy_j: float
    range_m: Measured


def expected_launch(launcher: Launcher, arm: Arm, short_m: Measured, g: float = G_M_S2) -> Launch | Unknown:
    """The launch with the weight ``short_m`` from the pivot. Unknown when the weight cannot lift the long side."""
    inputs = [
        launcher.weight_kg, launcher.share, launcher.pivot_m,
        arm.mass_kg, arm.inertia_kg_m2, arm.centre_m, arm.long_m, short_m,
    ]  # fmt: skip
    if _speed(launcher, g, [each.value for each in inputs]) <= 0:
        return Unknown("the weight is too light or too near the pivot to lift the long side")
    try:
        speed = propagated(lambda *values: _speed(launcher, g, values), inputs)
        reach = propagated(lambda *values: _reach(launcher, g, values), inputs)
    except ValueError:
        return Unknown("the masses are known too badly to say how far it goes")
    return Launch(speed, launcher.ball.mass_kg * speed.value**2 / 2, reach)


def _speed(launcher: Launcher, g: float, values: Sequence[float]) -> float:
    """m/s; 0 where the weight does not lift the arm."""
    weight, share, _pivot, mass, inertia, centre, long, short = values
    ball = launcher.ball.mass_kg
    energy = g * launcher.swing * (weight * short - ball * long - mass * centre)
    if energy <= 0 or share <= 0:
        return 0.0
    stack = weight * (short**2 + launcher.weight_radius_m**2 / 2)
    return long * math.sqrt(2 * share * energy / (inertia + stack + ball * long**2))


def _reach(launcher: Launcher, g: float, values: Sequence[float]) -> float:
    """Range in m from under the pivot."""
    pivot, long = values[2], values[6]
    stop = math.radians(launcher.stop_deg)
    height, back = pivot + long * math.sin(stop), long * math.cos(stop)
    return flight_m(_speed(launcher, g, values), 90 - launcher.stop_deg, height, launcher.ball.drag_per_m(), g) - back


def flight_m(speed_m_s: float, angle_deg: float, height_m: float, drag_per_m: float = 0.0, g: float = G_M_S2) -> float:
    """How far the ball lands in front of where it left, ``height_m`` lower, m. Raises ValueError.

    Without drag the closed form x = u/g (v + sqrt(v^2 + 2 g h)); with drag a = -k |v| v the equations of motion are
    stepped by Runge and Kutta's fourth-order rule, the last step cut by a straight line.
    """
    if speed_m_s < 0 or height_m < 0 or drag_per_m < 0:
        raise ValueError("speed, height and drag cannot be below 0")
    u = speed_m_s * math.cos(math.radians(angle_deg))
    v = speed_m_s * math.sin(math.radians(angle_deg))
    if drag_per_m == 0:
        return u / g * (v + math.sqrt(v * v + 2 * g * height_m))
    state = (0.0, height_m, u, v)
    while True:
        after = _stepped(state, drag_per_m, g)
        if after[1] < 0:
            return state[0] + (after[0] - state[0]) * state[1] / (state[1] - after[1])
        state = after


State = tuple[float, float, float, float]


def _slopes(state: State, drag_per_m: float, g: float) -> State:
    speed = math.hypot(state[2], state[3])
    return state[2], state[3], -drag_per_m * speed * state[2], -g - drag_per_m * speed * state[3]


def _stepped(state: State, drag_per_m: float, g: float) -> State:
    """One step of ``STEP_S``."""

    def moved(slopes: State, share: float) -> State:
        x, y, u, v = (a + share * STEP_S * b for a, b in zip(state, slopes, strict=True))
        return x, y, u, v

    k1 = _slopes(state, drag_per_m, g)
    k2 = _slopes(moved(k1, 0.5), drag_per_m, g)
    k3 = _slopes(moved(k2, 0.5), drag_per_m, g)
    k4 = _slopes(moved(k3, 1.0), drag_per_m, g)
    mean = tuple((a + 2 * b + 2 * c + d) / 6 for a, b, c, d in zip(k1, k2, k3, k4, strict=True))
    x, y, u, v = mean
    return moved((x, y, u, v), 1.0)
