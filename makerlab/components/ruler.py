"""The ruler under a finding: where the ticks, the allowed band and the mark stand.

Coordinates are those of the drawing's viewBox, ``0 -10 300 74``: the edge lies at y = 40.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from makerlab.components.figures import NO_BREAK, number

LEFT, RIGHT, EDGE = 16.0, 284.0, 40.0
LABELS_MAX = 7
MINOR_PER_MAJOR = 5
LETTER = 6.6  # width of a letter of 12 px text, enough for the widest of our faces


@dataclass(frozen=True, slots=True)
class Tick:
    x: float
    label: str  # empty: a short tick


@dataclass(frozen=True, slots=True)
class Ruler:
    """Everything the template draws. ``tone`` is the class of the mark: in-good, in-care or in-bad."""

    description: str
    tone: str
    ticks: tuple[Tick, ...]
    band_x: float
    band_width: float
    band_label_x: float
    band_label_y: float
    mark_x: float
    mark_label: str
    mark_label_x: float


def nice_step(span: float) -> float:
    """The smallest of 1, 2, 5 x 10^k that cuts ``span`` into at most LABELS_MAX - 1 pieces."""
    raw = span / (LABELS_MAX - 1)
    power = 10.0 ** math.floor(math.log10(raw))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= raw * (1 - 1e-9))


def axis_of(value: float, low: float | None, high: float | None) -> tuple[float, float, float]:
    """Start, end and labelled step of an axis that holds value and limits. A missing limit leaves the band
    open towards that end; lengths, areas and masses do not go below zero unless a figure does."""
    known = [figure for figure in (value, low, high) if figure is not None]
    smallest, largest = min(known), max(known)
    if low is None and smallest >= 0:
        smallest = 0.0
    span = (largest - smallest) or abs(largest) or 1.0
    start, end = smallest - 0.12 * span, largest + 0.12 * span
    if smallest >= 0:
        start = max(0.0, start)
    step = nice_step(end - start)
    return math.floor(start / step + 1e-9) * step, math.ceil(end / step - 1e-9) * step, step


def decimals_of(step: float) -> int:
    """Decimals that tell neighbouring labels apart."""
    return max(0, -math.floor(math.log10(step) + 1e-9))


def ticks_of(start: float, end: float, step: float) -> tuple[Tick, ...]:
    count = round((end - start) / step) * MINOR_PER_MAJOR
    gap = (RIGHT - LEFT) / count
    decimals = decimals_of(step)
    return tuple(
        Tick(
            round(LEFT + place * gap, 1),
            ""
            if place % MINOR_PER_MAJOR
            else number_format(round(start + step * place / MINOR_PER_MAJOR, decimals), decimals),
        )
        for place in range(count + 1)
    )


def description_of(figure: str, low: str, high: str, unit: str) -> str:
    """The drawing in words, for those who do not see it."""
    words = {"figure": figure, "low": low, "high": high, "unit": unit}
    if low and high:
        return _("%(figure)s. Allowed from %(low)s to %(high)s %(unit)s.") % words
    if high:
        return _("%(figure)s. Allowed up to %(high)s %(unit)s.") % words
    return _("%(figure)s. Allowed from %(low)s %(unit)s.") % words


def within(x: float, half_width: float) -> float:
    """The nearest place where a centred label of that half width stays inside the drawing."""
    return round(min(max(x, half_width), 300 - half_width), 1)


def build(scale: Mapping[str, Any] | None, level: str = "passes") -> Ruler | None:
    """The ruler of a finding's scale (keys value, low, high, unit, decimals), or None when there is nothing to draw:
    no value, no limit, or a figure that is not finite."""
    value = number(scale.get("value")) if scale else None
    if scale is None or value is None:
        return None
    low, high = number(scale.get("low")), number(scale.get("high"))
    if low is None and high is None:
        return None
    unit, decimals = str(scale.get("unit", "")), int(scale.get("decimals") or 0)
    start, end, step = axis_of(value, low, high)

    def x(figure: float) -> float:
        return LEFT + (figure - start) / (end - start) * (RIGHT - LEFT)

    def text(figure: float | None) -> str:
        return "" if figure is None else number_format(round(figure, decimals), decimals)

    band_start, band_end = x(start if low is None else low), x(end if high is None else high)
    label = f"{text(value)}{NO_BREAK}{unit}"
    half_label, half_allowed = len(label) * LETTER / 2, len(_("allowed")) * LETTER / 2
    mark_label_x = within(x(value), half_label)
    band_label_x = within((band_start + band_end) / 2, half_allowed)
    crowded = abs(mark_label_x - band_label_x) < half_label + half_allowed + 6
    return Ruler(
        description=description_of(label, text(low), text(high), unit),
        tone={"must_fix": "in-bad", "advice": "in-care"}.get(level, "in-good"),
        ticks=ticks_of(start, end, step),
        band_x=round(band_start, 1),
        band_width=round(max(band_end - band_start, 2.0), 1),
        band_label_x=band_label_x,
        band_label_y=2 if crowded else 18,
        mark_x=round(x(value), 1),
        mark_label=label,
        mark_label_x=mark_label_x,
    )
