"""Coast-downs: a cart rolls out on the level until it rests, and tells the loss of its wheels and bearings.

The cart slows evenly by b, so v^2 = 2 b s with s the way still to go (OpenStax University Physics volume 1, section
3.4: v^2 = v0^2 + 2 a (x - x0)). The slowing pull is c m_t g = (m_t + n I / R^2) b. SI units throughout.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from lessons.science.rolling import G_M_S2, Cart, Losses, weighted_mean
from lessons.science.values import Measured, Unknown, propagated


def slowing_to_rest(way_m: Measured, time_s: Measured) -> Measured:
    """Deceleration in m/s2 from the way and the time between a mark and rest: 2 s / t^2."""
    return propagated(lambda way, time: 2 * way / time**2, [way_m, time_s])


def slowing_between_marks(marks_m: Measured, time_s: Measured, way_m: Measured) -> Measured:
    """Deceleration in m/s2 from the time between two marks ``marks_m`` apart and the way from the second to rest.

    The speeds at the marks are sqrt(2 b (d + s)) and sqrt(2 b s); their difference is b t, so
    b = 2 (sqrt(d + s) - sqrt(s))^2 / t^2. With s = 0 it is ``slowing_to_rest``.
    """
    return propagated(
        lambda marks, time, way: 2 * (math.sqrt(marks + way) - math.sqrt(way)) ** 2 / time**2,
        [marks_m, time_s, way_m],
    )


def slowing_from_speed(speed_m_s: Measured, way_m: Measured) -> Measured:
    """Deceleration in m/s2 from the speed at a mark and the way from there to rest: v^2 / (2 s)."""
    return propagated(lambda speed, way: speed**2 / (2 * way), [speed_m_s, way_m])


def speed_at_start(slowing_m_s2: float, way_m: float) -> float:
    """The speed in m/s of a cart that rests after ``way_m``."""
    return math.sqrt(2 * slowing_m_s2 * way_m)


def loss_share(slowing_m_s2: Measured, cart: Cart) -> Measured:
    """The share c of the weight that slows the cart: c = b (m_t + n I / R^2) / (m_t g)."""
    effective = 1 / (1 - cart.spin_share)
    return propagated(lambda slowing: slowing * effective / G_M_S2, [slowing_m_s2])


def losses_from_coasting(shares: Sequence[Measured], source: str) -> Losses | Unknown:
    """The weighted mean of the shares that several coast-downs tell (see ``weighted_mean``)."""
    if not shares:
        return Unknown("no run has coasted to rest yet")
    mean = weighted_mean(shares)
    return mean if isinstance(mean, Unknown) else Losses(mean, source)
