"""Filament as something that costs money and runs out: prices, spools on the scale, and whether one will last.

Money is a Decimal in the school's own currency; it is rounded only where it is shown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import TypeVar

from planning.calibration import Corrected

Key = TypeVar("Key")

SCALE_STEP_G = 1.0  # a kitchen scale (common practice, no source)
TARES_G = (150.0, 300.0)  # usual empty spools (common practice, no source)
RESERVE_G = 5.0  # what stays in the feeder and cannot be printed (common practice, no source)


@dataclass(frozen=True, slots=True)
class Weighed:
    """Filament on a spool after weighing: ``grams`` within ``low_g`` and ``high_g``. ``remark`` says what looks odd
    (empty when nothing does)."""

    grams: float
    low_g: float
    high_g: float
    remark: str = ""


class Lasts(StrEnum):
    """Whether a spool lasts for a plate."""

    YES = "yes"
    PROBABLY = "probably"
    NO = "no"


@dataclass(frozen=True, slots=True)
class SpoolOutlook:
    """``spare_g`` is what is left after the plate by the middle of both figures (below zero: missing), ``chance`` the
    probability that the spool lasts, ``sentence`` the same in plain words."""

    lasts: Lasts
    spare_g: float
    chance: float
    sentence: str


def cost(grams: float, price_per_kg: Decimal) -> Decimal:
    """What ``grams`` of filament cost, not rounded. ValueError when either is below zero or no number."""
    if not (math.isfinite(grams) and grams >= 0):
        raise ValueError(f"grams must be zero or more, not {grams}")
    if not (price_per_kg.is_finite() and price_per_kg >= 0):
        raise ValueError(f"a price must be zero or more, not {price_per_kg}")
    return Decimal(repr(float(grams))) * price_per_kg / 1000


def rounded(amount: Decimal) -> Decimal:
    """To hundredths, halves away from zero, as prices are."""
    return amount.quantize(Decimal("0.01"), ROUND_HALF_UP)


def cost_shares(grams: Mapping[str, float], price_per_kg: Decimal) -> dict[str, Decimal]:
    """What each team's (or class's) grams cost in hundredths, so that the shares add up to the rounded whole."""
    return rounded_shares({key: cost(value, price_per_kg) for key, value in grams.items()})


def rounded_shares(exact: Mapping[Key, Decimal]) -> dict[Key, Decimal]:
    """Amounts in hundredths that add up to the rounded whole.

    Rounded down first; the hundredths that are missing go to those with the largest remainder (the method of largest
    remainders), in the order given where they are equal.
    """
    cents = {key: int(amount * 100) for key, amount in exact.items()}
    missing = int(rounded(sum(exact.values(), Decimal(0))) * 100) - sum(cents.values())
    by_remainder = sorted(exact, key=lambda key: cents[key] - exact[key] * 100)
    for key in by_remainder[:missing]:
        cents[key] += 1
    return {key: Decimal(value).scaleb(-2) for key, value in cents.items()}  # always two decimals


def weighed(scale_g: float, tare_g: float, *, tare_spread_g: float = 5.0, full_g: float | None = None) -> Weighed:
    """Grams of filament on a spool that weighs ``scale_g`` with its empty spool of ``tare_g``.

    ``tare_spread_g`` is how well the empty spool's weight is known; ``full_g`` the filament of a new spool. ValueError
    for figures that cannot be.
    """
    if not all(math.isfinite(value) and value >= 0 for value in (scale_g, tare_g, tare_spread_g)):
        raise ValueError("weights must be numbers of grams, zero or more")
    grams = max(0.0, scale_g - tare_g)
    spread = math.hypot(SCALE_STEP_G, tare_spread_g)
    remark = ""
    if scale_g < tare_g - spread:
        remark = (
            f"The scale shows {tare_g - scale_g:.0f} g less than the empty spool should weigh: check the spool's kind."
        )
    elif full_g is not None and grams > full_g + spread:
        remark = f"That is {grams - full_g:.0f} g more than a new spool holds: check the spool's kind."
    elif not TARES_G[0] - 50 <= tare_g <= TARES_G[1] + 100:
        remark = f"An empty spool usually weighs {TARES_G[0]:.0f} to {TARES_G[1]:.0f} g."
    return Weighed(grams, max(0.0, grams - spread), grams + spread, remark)


def will_last(spool: Weighed, plate: Corrected, reserve_g: float = RESERVE_G) -> SpoolOutlook:
    """Whether a spool lasts for a plate whose grams are known with their spread (``Calibration.grams``).

    Both figures are taken as normal; their stated ends hold about two standard deviations of the spool and 90 % of
    runs. YES from 95 % on, NO below 50 %.
    """
    spare = spool.grams - reserve_g - plate.mean
    sd = math.hypot((spool.high_g - spool.low_g) / 4, (plate.run.high - plate.run.low) / (2 * 1.645))
    chance = 0.5 * math.erfc(-spare / (sd * math.sqrt(2))) if sd > 0 else float(spare >= 0)
    lasts = Lasts.YES if chance >= 0.95 else Lasts.PROBABLY if chance >= 0.5 else Lasts.NO
    return SpoolOutlook(lasts, spare, chance, _sentence(lasts, spare, chance))


def _sentence(lasts: Lasts, spare_g: float, chance: float) -> str:
    if lasts is Lasts.YES:
        return f"Lasts, with about {max(0.0, spare_g):.0f} g to spare."
    if lasts is Lasts.PROBABLY:
        return f"Probably lasts, but it is close ({chance:.0%}): stand by to change the spool, or take another."
    return f"Does not last: about {max(0.0, -spare_g):.0f} g are missing."
