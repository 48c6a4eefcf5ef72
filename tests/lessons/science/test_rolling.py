"""Rolling against the examples of OpenStax University Physics volume 1, sections 10.4 and 11.1, an integrator written
here, and runs with a known loss."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from lessons.science.rolling import (
    G_M_S2,
    NO_LOSS,
    Cart,
    Losses,
    Ramp,
    Run,
    TimedRun,
    Wheel,
    expected_run,
    friction_needed,
    lighter_at_rim,
    losses_from_runs,
    losses_of,
    weighted_mean,
)
from lessons.science.values import Measured, Unknown, exactly


def wheel(mass: float, factor: float, radius: float) -> Wheel:
    return Wheel(exactly(mass), exactly(factor * mass * radius**2), exactly(radius))


def lone(factor: float) -> Cart:
    return Cart(exactly(0.0), wheel(1.0, factor, 0.1), wheels=1)


def ramp(degrees: float, length: float) -> Ramp:
    return Ramp(exactly(length), exactly(length * math.sin(math.radians(degrees))))


def run_of(cart: Cart, track: Ramp, losses: Losses = NO_LOSS, g: float = G_M_S2) -> Run:
    found = expected_run(cart, track, losses, g)
    assert isinstance(found, Run)
    return found


def test_solid_cylinder() -> None:
    """OpenStax 11.1, rolling down an inclined plane: a = 2/3 g sin(slope), friction at least tan(slope) / 3."""
    found = run_of(lone(0.5), ramp(20, 2.0))
    assert found.acceleration.value == pytest.approx(2 / 3 * G_M_S2 * math.sin(math.radians(20)), rel=1e-12)
    assert friction_needed(lone(0.5), ramp(20, 2.0)) == pytest.approx(math.tan(math.radians(20)) / 3, rel=1e-12)


@pytest.mark.parametrize(("factor", "needed"), [(1.0, 0.87), (0.5, 0.58)])
def test_friction_needed_at_sixty_degrees(factor: float, needed: float) -> None:
    """OpenStax 11.1, check your understanding: hollow 0.87, solid 0.58."""
    assert friction_needed(lone(factor), ramp(60, 1.0)) == pytest.approx(needed, abs=0.005)


def test_marble() -> None:
    """OpenStax 11.1 problem: a marble, 30 degrees, g 9.8: 3.5 m/s2, 15.75 m in 3 s."""
    found = run_of(lone(0.4), ramp(30, 15.75), g=9.8)
    assert found.acceleration.value == pytest.approx(3.5, rel=1e-12)
    assert found.time_s.value == pytest.approx(3.0, rel=1e-12)


def test_unknown_cylinder() -> None:
    """OpenStax 11.1 problem: 10.0 m at 30 degrees in 2.60 s: a 2.96 m/s2, I 0.66 m r^2."""
    found = run_of(lone(0.66), ramp(30, 10.0), g=9.8)
    assert found.time_s.value == pytest.approx(2.60, abs=0.01)
    assert found.acceleration.value == pytest.approx(2.96, abs=0.01)


def test_rover_wheel_on_mars() -> None:
    """OpenStax 11.1 example: a hoop from 25 m with 3.71 m/s2: 9.63 m/s at the bottom."""
    assert run_of(lone(1.0), ramp(30, 50.0), g=3.71).speed_m_s.value == pytest.approx(9.63, abs=0.005)


@pytest.mark.parametrize(
    ("body", "ideal", "lossy"), [(50, 1.182, 1.236), (100, 1.146, 1.205), (200, 1.120, 1.183), (400, 1.105, 1.169)]
)
def test_worked_cart(body: float, ideal: float, lossy: float) -> None:
    """FACTS 4, worked cart (computed): four tube wheels R 15, r 3, w 8 mm of PLA; Crr 0.01, mu 0.2, axle 1.5 mm."""
    four = Wheel(exactly(6.7316e-3), exactly(7.87592e-7), exactly(0.015))
    cart = Cart(exactly(body / 1000), four)
    assert run_of(cart, ramp(15, 1.5)).time_s.value == pytest.approx(ideal, abs=6e-4)
    losses = losses_of(0.01, 0.2, 0.0015, cart)
    assert run_of(cart, ramp(15, 1.5), losses).time_s.value == pytest.approx(lossy, abs=6e-4)


@given(
    body=st.floats(0, 0.5),
    mass=st.floats(0.002, 0.05),
    factor=st.floats(0, 1),
    radius=st.floats(0.01, 0.05),
    degrees=st.floats(3, 40),
    share=st.floats(0, 0.02),
)
def test_newton_wheel_by_wheel_agrees(
    body: float, mass: float, factor: float, radius: float, degrees: float, share: float
) -> None:
    """Newton's laws for the cart and each of its four wheels as linear equations in the acceleration, the four contact
    forces and the four spins, then integrated by scipy; the energy balance is not used."""
    cart = Cart(exactly(body), wheel(mass, factor, radius))
    slope = math.radians(degrees)
    inertia = cart.wheel.inertia_kg_m2.value
    pull = cart.mass_kg * G_M_S2 * (math.sin(slope) - share * math.cos(slope))
    laws, forces = np.zeros((9, 9)), np.zeros(9)
    laws[0, 0], laws[0, 1:5], forces[0] = cart.mass_kg, 1.0, pull  # m_t a + sum of contact forces = pull
    for each in range(4):
        laws[1 + each, 1 + each], laws[1 + each, 5 + each] = radius, -inertia  # force times radius turns the wheel
        laws[5 + each, 0], laws[5 + each, 5 + each] = 1.0, -radius  # rolling: a = radius times spin
    acceleration = float(np.linalg.solve(laws, forces)[0])

    def arrived(_: float, state: list[float]) -> float:
        return state[0] - 2.0

    arrived.terminal = True  # type: ignore[attr-defined]
    path = solve_ivp(lambda _, state: [state[1], acceleration], (0, 100), [0.0, 0.0], events=arrived, rtol=1e-9)
    found = run_of(cart, ramp(degrees, 2.0), Losses(exactly(share), "test"))
    assert path.t_events[0][0] == pytest.approx(found.time_s.value, rel=1e-6)


def test_more_load_is_a_little_faster_with_real_wheels_and_not_at_all_with_weightless_spin() -> None:
    """FACTS 4: spin inertia is a smaller share of a heavier cart; without it the mass cancels."""
    track = ramp(15, 1.5)

    def seconds(load: float, factor: float) -> float:
        return run_of(Cart(exactly(load), wheel(0.0067, factor, 0.015)), track).time_s.value

    spinning = [seconds(load, 0.52) for load in (0.05, 0.2, 0.8)]
    assert spinning == sorted(spinning, reverse=True)
    dead = [seconds(load, 0.0) for load in (0.05, 0.2, 0.8)]
    assert dead == pytest.approx([dead[0]] * 3, rel=1e-12)


def test_uncertainty_of_acceleration_and_time() -> None:
    """FACTS 4: u(t) of a lossless block over a ramp of known slope is t/2 u(L)/L when sin stays; here sin = h/L also
    moves with L, so a slides as 1/L and t as L: u(t)/t = u(L)/L."""
    track = Ramp(Measured(1.5, 0.002), exactly(0.3))
    found = run_of(Cart(exactly(0.1), wheel(0.0067, 0.0, 0.015)), track)
    assert found.time_s.uncertainty / found.time_s.value == pytest.approx(0.002 / 1.5, rel=1e-4)


def test_a_held_cart_is_said_so() -> None:
    assert isinstance(expected_run(lone(0.5), ramp(1, 1.0), Losses(exactly(0.05), "test")), Unknown)


def test_lighter_rim() -> None:
    """A hoop-like wheel that loses a gram at its rim gets faster, by the difference of the two formulas; at the axle
    the same gram slows a cart whose body is light, since less weight pulls the same spin."""
    cart = Cart(exactly(0.05), wheel(0.010, 0.9, 0.03))
    track = ramp(6, 3.0)
    by_rim = lighter_at_rim(cart, track, NO_LOSS, 1.0)
    assert isinstance(by_rim, float)

    def seconds(mass: float, inertia: float) -> float:
        total = 0.05 + 4 * mass
        pull = G_M_S2 * math.sin(math.radians(6)) * total / (total + 4 * inertia / 0.03**2)
        return math.sqrt(2 * 3.0 / pull)

    inertia = 0.9 * 0.010 * 0.03**2
    assert by_rim == pytest.approx(seconds(0.009, inertia - 0.001 * 0.03**2) - seconds(0.010, inertia), rel=1e-9)
    assert by_rim < 0
    at_axle = lighter_at_rim(cart, track, NO_LOSS, 1.0, at_radius_m=0.0)
    assert isinstance(at_axle, float)
    assert at_axle > 0
    with pytest.raises(ValueError, match="that much"):
        lighter_at_rim(cart, track, NO_LOSS, 50.0)


def test_loss_is_found_again_from_timed_runs() -> None:
    """Runs made with a known loss and hand timing: the fitted share lies within two of its uncertainties in about 19 of
    20 classes."""
    random = np.random.default_rng(7)
    track, truth, held = ramp(6, 3.0), 0.015, 0
    for _ in range(300):
        runs = []
        for load in (0.05, 0.15, 0.25):
            cart = Cart(exactly(load), wheel(0.0095, 0.58, 0.03))
            true = run_of(cart, track, Losses(exactly(truth), "truth")).time_s.value
            runs.append(TimedRun(cart, Measured(true + random.normal(0, 0.1 / math.sqrt(9)), 0.1 / math.sqrt(9))))
        found = losses_from_runs(runs, track)
        assert isinstance(found, Losses)
        held += abs(found.share.value - truth) <= 2 * found.share.uncertainty
    assert held / 300 > 0.92


def test_impossible_times_are_not_explained_away() -> None:
    cart, track = Cart(exactly(0.1), wheel(0.0095, 0.58, 0.03)), ramp(6, 3.0)
    fast = run_of(cart, track).time_s.value * 0.8
    assert isinstance(losses_from_runs([TimedRun(cart, Measured(fast, 0.01))], track), Unknown)
    assert isinstance(losses_from_runs([], track), Unknown)


def test_weighted_mean_of_discordant_values() -> None:
    """Two values 10 and 12 with uncertainty 0.5 each: mean 11, chi^2 8, so 0.3536 grows by sqrt(8) to 1 (by hand)."""
    found = weighted_mean([Measured(10, 0.5), Measured(12, 0.5)])
    assert isinstance(found, Measured)
    assert (found.value, found.uncertainty, found.df) == pytest.approx((11.0, 1.0, 1))
    assert isinstance(weighted_mean([exactly(1.0)]), Unknown)
