"""Free flight by OpenStax examples, drag by a second integrator, the swing by its own equation of motion."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from lessons.science.launching import Arm, Ball, Launch, Launcher, expected_launch, flight_m
from lessons.science.values import Measured, Unknown, exactly

ARM = Arm(exactly(0.0108), exactly(2.93e-5), exactly(0.0216), exactly(0.072))
STAND = Launcher(exactly(0.2), Ball(0.002, 0.025), exactly(0.085), 35.0, 45.0, 0.015)


@pytest.mark.parametrize(("angle_deg", "speed_m_s"), [(30.0, 31.9), (70.0, 37.0)])
def test_range_on_level_ground(angle_deg: float, speed_m_s: float) -> None:
    """OpenStax University Physics volume 1, example 4.9 (read): 90 m on level ground, g = 9.8."""
    assert flight_m(speed_m_s, angle_deg, 0.0, g=9.8) == pytest.approx(90.0, rel=3e-3)  # speeds to three digits


def test_the_second_half_of_a_firework() -> None:
    """Example 4.7 (read): thrown level at 18.1 m/s from 233 m, it falls for 6.90 s and lands 125 m away."""
    assert flight_m(18.1, 0.0, 233.0, g=9.8) == pytest.approx(125.0, rel=3e-3)


def test_the_tennis_ball_run_backward() -> None:
    """Example 4.8 (read) backward in time: 26.5 m/s at 36.9 degrees from 10 m up takes 3.79 s at 21.2 m/s along."""
    assert flight_m(26.5, 36.9, 10.0, g=9.8) == pytest.approx(21.2 * 3.79, rel=3e-3)


@pytest.mark.parametrize("drag_per_m", [0.0, 0.07, 0.5])
def test_drag_agrees_with_a_second_integrator(drag_per_m: float) -> None:
    """scipy's solve_ivp (DOP853) with an event at the ground."""
    speed, angle, height, g = 3.0, math.radians(45.0), 0.2, 9.80665

    def slopes(_t: float, s: np.ndarray) -> list[float]:
        fast = math.hypot(s[2], s[3])
        return [s[2], s[3], -drag_per_m * fast * s[2], -g - drag_per_m * fast * s[3]]

    def ground(_t: float, s: np.ndarray) -> float:
        return float(s[1])

    ground.terminal = True  # type: ignore[attr-defined]
    start = [0.0, height, speed * math.cos(angle), speed * math.sin(angle)]
    found = solve_ivp(slopes, (0, 5), start, "DOP853", events=ground, rtol=1e-10, atol=1e-12)
    assert flight_m(speed, 45.0, height, drag_per_m) == pytest.approx(found.y[0, -1], rel=1e-6)


def test_the_speed_follows_the_swings_own_equation_of_motion() -> None:
    """Independent of the energy balance: torque = inertia x angular acceleration, integrated by scipy."""
    short, ball, weight = 0.024, 0.002, 0.2
    inertia = 2.93e-5 + weight * (short**2 + 0.015**2 / 2) + ball * 0.072**2
    moment = 9.80665 * (weight * short - ball * 0.072 - 0.0108 * 0.0216)

    def stop(_t: float, s: np.ndarray) -> float:
        return float(s[0]) - math.radians(45)

    stop.terminal = True  # type: ignore[attr-defined]
    swing = solve_ivp(
        lambda _t, s: [s[1], moment * math.cos(s[0]) / inertia],
        (0, 2), [-math.radians(35), 0.0], "DOP853", events=stop, rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    launch = expected_launch(STAND, ARM, exactly(short))
    assert isinstance(launch, Launch)
    assert launch.speed_m_s.value == pytest.approx(0.072 * swing.y[1, -1], rel=1e-8)
    assert launch.energy_j == pytest.approx(0.002 * launch.speed_m_s.value**2 / 2)


def test_a_point_mass_on_a_weightless_arm_is_the_textbook_fall() -> None:
    """Weight alone, no ball, no arm: its end has the speed of free fall, v = sqrt(2 g h)."""
    bare = Launcher(exactly(1.0), Ball(1e-12, 1e-6, 0.0), exactly(1.0), 30.0, 30.0)
    launch = expected_launch(bare, Arm(exactly(0), exactly(0), exactly(0), exactly(0.1)), exactly(0.1))
    assert isinstance(launch, Launch)
    assert launch.speed_m_s.value == pytest.approx(math.sqrt(2 * 9.80665 * 0.1), rel=1e-9)


def test_uncertainty_of_the_share_goes_into_the_range() -> None:
    unsure = Launcher(exactly(0.2), Ball(0.002, 0.025), exactly(0.085), 35.0, 45.0, 0.015, Measured(0.85, 0.1))
    near, far = (
        expected_launch(Launcher(exactly(0.2), Ball(0.002, 0.025), exactly(0.085), 35, 45, 0.015, exactly(k)), ARM,
                        exactly(0.024))
        for k in (0.75, 0.95)
    )  # fmt: skip
    found = expected_launch(unsure, ARM, exactly(0.024))
    assert isinstance(found, Launch)
    assert isinstance(near, Launch)
    assert isinstance(far, Launch)
    assert found.range_m.uncertainty == pytest.approx((far.range_m.value - near.range_m.value) / 2, rel=0.02)


def test_a_weight_that_cannot_lift_says_so() -> None:
    light = Launcher(exactly(0.002), Ball(0.002, 0.025), exactly(0.085), 35.0, 45.0)
    found = expected_launch(light, ARM, exactly(0.024))
    assert isinstance(found, Unknown)
    assert "lift" in found.because


def test_impossible_flights_are_refused() -> None:
    with pytest.raises(ValueError, match="below 0"):
        flight_m(1.0, 45.0, -1.0)
