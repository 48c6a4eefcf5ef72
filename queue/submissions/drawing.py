"""The working drawing of what a redesign must keep, from the figures of the gauge. Not to scale."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from lessons.models import KitPart, PartGauge


@dataclass(frozen=True, slots=True)
class HubDrawing:
    """The texts on the drawing; an empty one is not asked and not drawn."""

    hole: str
    plus: str
    minus: str
    hub: str
    depth: str
    across: str
    through: bool
    description: str


def hub_drawing(part: KitPart) -> HubDrawing | None:
    """The drawing's texts, or None for a part that has no hole to keep."""
    gauge: PartGauge | None = getattr(part, "gauge", None)
    if gauge is None or gauge.hole_diameter_mm is None:
        return None
    across_mm = widest_mm(gauge)
    hole, hub, depth, across = (
        _length(value) for value in (gauge.hole_diameter_mm, gauge.hub_diameter_mm, gauge.hole_depth_mm, across_mm)
    )
    sentences = [
        _("Working drawing of the hub of %(part)s.") % {"part": part.name},
        _("Keep the hole %(hole)s mm across.") % {"hole": hole},
        _("Keep the hub %(hub)s mm across.") % {"hub": hub} if hub else "",
        _("Keep it %(depth)s mm wide.") % {"depth": depth} if depth else "",
        _("The outside may be up to %(across)s mm across and is yours to change.") % {"across": across}
        if across
        else "",
    ]
    return HubDrawing(
        hole=hole,
        plus=f"+{number_format(round(gauge.hole_plus_mm, 2), 2)}",
        minus=f"\N{MINUS SIGN}{number_format(round(gauge.hole_minus_mm, 2), 2)}",
        hub=hub,
        depth=depth,
        across=across,
        through=gauge.through is not False,
        description=" ".join(sentence for sentence in sentences if sentence),
    )


def widest_mm(gauge: PartGauge | None) -> float | None:
    """The larger side of the size box as it lies on the bed; None when no box is asked."""
    if gauge is None or gauge.size_x_mm is None or gauge.size_y_mm is None:
        return None
    return max(gauge.size_x_mm, gauge.size_y_mm)


def _length(value: float | None) -> str:
    """``3.2``, ``14``: as a drawing writes it, without zeros that say nothing."""
    return "" if value is None else number_format(f"{value:.2f}".rstrip("0").rstrip("."))
