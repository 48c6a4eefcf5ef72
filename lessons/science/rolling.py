"""A cart on wheels down a ramp: how long it takes, from the masses, the wheels' spin inertia and the losses.

Energy balance of a body of mass M on n wheels (each m, R, I about its axle) rolling without slipping:
a = (g sin(slope) m_t - c g cos(slope) m_t) / (m_t + n I / R^2), m_t = M + n m.
With one wheel, no body and no loss it is a = m g sin(slope) / (m + I / R^2) of OpenStax University Physics volume 1,
section 11.1. ``c`` gathers rolling and bearing loss: c = Crr + mu (r_axle / R) M / m_t, the bearings carrying the body.
Air drag is left out. SI units throughout: kg, m, s, kg m2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lessons.science.values import Measured, Unknown, exactly, propagated

G_M_S2 = 9.80665  # standard gravity (3rd CGPM, 1901)


@dataclass(frozen=True, slots=True)
class Wheel:
    """One wheel: mass, spin inertia about its axle, rolling radius, each with its uncertainty."""

    mass_kg: Measured
    inertia_kg_m2: Measured
    radius_m: Measured

    def __post_init__(self) -> None:
        if not (self.mass_kg.value > 0 and self.radius_m.value > 0 and self.inertia_kg_m2.value >= 0):
            raise ValueError("a wheel has a mass and a radius above 0, and a spin inertia of 0 or more")

    @property
    def shape_factor(self) -> float:
        """I / (m R^2): 1 for a hoop, 1/2 for a solid disc."""
        return self.inertia_kg_m2.value / (self.mass_kg.value * self.radius_m.value**2)


@dataclass(frozen=True, slots=True)
class Ramp:
    """Length along the track and rise over it; the rise is less than the length."""

    length_m: Measured
    rise_m: Measured

    def __post_init__(self) -> None:
        if not 0 < self.rise_m.value < self.length_m.value:
            raise ValueError("a ramp rises by more than 0 and by less than its length")

    @property
    def steepness(self) -> float:
        """Rise over length: the sine of the slope, and all that a lesson without trigonometry needs."""
        return self.rise_m.value / self.length_m.value

    @property
    def slope_deg(self) -> float:
        return math.degrees(math.asin(self.steepness))


@dataclass(frozen=True, slots=True)
class Cart:
    """Everything that does not spin, load included, on ``wheels`` equal wheels. The body may weigh nothing."""

    body_kg: Measured
    wheel: Wheel
    wheels: int = 4

    def __post_init__(self) -> None:
        if self.wheels < 1 or self.body_kg.value < 0:
            raise ValueError("a cart has a wheel at least, and no negative mass")

    @property
    def mass_kg(self) -> float:
        return self.body_kg.value + self.wheels * self.wheel.mass_kg.value

    @property
    def spin_share(self) -> float:
        """How much of the motion's energy is in the spinning: n I / R^2 over m_t + n I / R^2."""
        spin = self.wheels * self.wheel.inertia_kg_m2.value / self.wheel.radius_m.value**2
        return spin / (self.mass_kg + spin)


@dataclass(frozen=True, slots=True)
class Losses:
    """Rolling and bearing loss as one share of the weight, and where the figure comes from."""

    share: Measured
    source: str


NO_LOSS = Losses(exactly(0.0), "without any loss")


def losses_of(rolling: float, sliding: float, axle_radius_m: float, cart: Cart) -> Losses:
    """The share c from a rolling coefficient Crr and the friction coefficient mu of the bearings."""
    share = rolling + sliding * axle_radius_m / cart.wheel.radius_m.value * cart.body_kg.value / cart.mass_kg
    return Losses(exactly(share), "from coefficients of rolling and bearing friction")


@dataclass(frozen=True, slots=True)
class Run:
    """What to expect of a run from rest: acceleration in m/s2, time in s, speed at the end in m/s."""

    acceleration: Measured
    time_s: Measured
    speed_m_s: Measured


def expected_run(cart: Cart, ramp: Ramp, losses: Losses = NO_LOSS, g: float = G_M_S2) -> Run | Unknown:
    """The run over the whole ramp from rest. Unknown when the losses hold the cart, or nearly so."""
    inputs = _inputs(cart, ramp, losses)
    if _acceleration(cart.wheels, g, *[each.value for each in inputs]) <= 0:
        return Unknown("the losses are as large as the pull of the slope: the cart would not start by itself")

    def acceleration(*values: float) -> float:
        return _acceleration(cart.wheels, g, *values)

    def time(*values: float) -> float:
        pull = acceleration(*values)
        return math.sqrt(2 * values[4] / pull) if pull > 0 else math.nan

    def speed(*values: float) -> float:
        pull = acceleration(*values)
        return math.sqrt(2 * values[4] * pull) if pull > 0 else math.nan

    try:
        return Run(propagated(acceleration, inputs), propagated(time, inputs), propagated(speed, inputs))
    except ValueError:
        return Unknown("the losses are known too badly beside the pull of the slope to say how long it takes")


def _inputs(cart: Cart, ramp: Ramp, losses: Losses) -> list[Measured]:
    wheel = cart.wheel
    return [
        cart.body_kg,
        wheel.mass_kg,
        wheel.inertia_kg_m2,
        wheel.radius_m,
        ramp.length_m,
        ramp.rise_m,
        losses.share,
    ]


def _acceleration(
    wheels: int,
    g: float,
    body: float,
    wheel: float,
    inertia: float,
    radius: float,
    length: float,
    rise: float,
    c: float,
) -> float:
    mass = body + wheels * wheel
    sine = rise / length
    cosine = math.sqrt(1 - sine * sine)
    return g * (sine - c * cosine) * mass / (mass + wheels * inertia / radius**2)


def friction_needed(cart: Cart, ramp: Ramp) -> float:
    """The smallest coefficient of static friction at which the wheels roll and do not slip (lossless, weight shared
    evenly): tan(slope) n I / R^2 / (m_t + n I / R^2)."""
    return math.tan(math.radians(ramp.slope_deg)) * cart.spin_share


def lighter_at_rim(
    cart: Cart, ramp: Ramp, losses: Losses, grams: float, at_radius_m: float | None = None
) -> float | Unknown:
    """Change of the time in s when every wheel loses ``grams`` at a radius (its rim when not given); negative: faster.

    Mass at radius r takes m r^2 of spin inertia with it. ValueError when the wheel has less than that.
    """
    wheel = cart.wheel
    radius = wheel.radius_m.value if at_radius_m is None else at_radius_m
    mass, inertia = wheel.mass_kg.value - grams / 1000, wheel.inertia_kg_m2.value - grams / 1000 * radius**2
    if mass <= 0 or inertia < 0:
        raise ValueError("the wheel does not have that much there")
    lighter = replace(wheel, mass_kg=exactly(mass), inertia_kg_m2=exactly(inertia))
    before, after = expected_run(cart, ramp, losses), expected_run(replace(cart, wheel=lighter), ramp, losses)
    if isinstance(before, Unknown):
        return before
    if isinstance(after, Unknown):
        return after
    return after.time_s.value - before.time_s.value


@dataclass(frozen=True, slots=True)
class TimedRun:
    """A cart's measured time from rest over the ramp, with its uncertainty."""

    cart: Cart
    time_s: Measured


def losses_from_runs(runs: Sequence[TimedRun], ramp: Ramp, g: float = G_M_S2) -> Losses | Unknown:
    """The share c that explains measured times: each run gives c = (sin - a (m_t + n I / R^2) / (m_t g)) / cos with
    a = 2 L / t^2; the weighted mean of them, its uncertainty from the runs' own and, when they scatter more than that,
    from their scatter (Birge ratio: R. T. Birge, Phys. Rev. 40, 207, 1932)."""
    if not runs:
        return Unknown("no run has been timed yet")
    shares: list[Measured] = []
    for run in runs:
        inputs = [run.time_s, *_inputs(run.cart, ramp, NO_LOSS)[:-1]]
        wheels = run.cart.wheels

        def share(time: float, *values: float, wheels: int = wheels) -> float:
            body, wheel, inertia, radius, length, rise = values
            mass = body + wheels * wheel
            sine = rise / length
            effective = (mass + wheels * inertia / radius**2) / mass
            return (sine - 2 * length / time**2 * effective / g) / math.sqrt(1 - sine * sine)

        shares.append(propagated(share, inputs))
    mean = weighted_mean(shares)
    if isinstance(mean, Unknown):
        return mean
    if mean.value + 2 * mean.uncertainty < 0:
        return Unknown(
            "the carts were faster than a run without any loss can be: check the length, the rise and how the watch "
            "was started"
        )
    return Losses(mean, "fitted to the class's own times")


def weighted_mean(values: Sequence[Measured]) -> Measured | Unknown:
    """Mean with weights 1 / u^2. When the values scatter more than their uncertainties say, the uncertainty grows by
    the Birge ratio sqrt(chi^2 / (n - 1)) and its degrees of freedom are n - 1."""
    if any(each.uncertainty == 0 for each in values):
        return Unknown("a value without uncertainty would outweigh all others")
    weights = [each.uncertainty**-2 for each in values]
    total = math.fsum(weights)
    mean = math.fsum(weight * each.value for weight, each in zip(weights, values, strict=True)) / total
    error = total**-0.5
    if len(values) > 1:
        chi_squared = math.fsum(w * (each.value - mean) ** 2 for w, each in zip(weights, values, strict=True))
        ratio = math.sqrt(chi_squared / (len(values) - 1))
        if ratio > 1:
            return Measured(mean, error * ratio, len(values) - 1)
    return Measured(mean, error)
