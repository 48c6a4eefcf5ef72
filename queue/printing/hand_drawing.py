"""The bed on which a plate is laid out by hand, as positions for SVG attributes and figures for the fields beside it.

Every copy is drawn about its own centre and moved there by a transform, so that the script moves it by the same numbers
that stand in the fields. Units of the drawing are ``scale`` to the mm; y runs down, turns run anticlockwise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from planning.clearance import corners_of
from planning.types import Circle
from printing.by_hand import Stand
from printing.models import PrintCopy, PrinterKind
from printing.planner.snapshot import footprint_of
from printing.plate_drawing import EDGE, SIZE, BedDrawing, grid_path, kept_free, who_for


def shown(value: float | None) -> str:
    """Hundredths at most: 92.5, 40."""
    return "" if value is None else f"{value:.2f}".rstrip("0").rstrip(".")


@dataclass(frozen=True)
class HandCopy:
    """One copy to move: its outline about its centre, where it stands if it is on the plate, and its names."""

    copy: PrintCopy
    name: str
    is_circle: bool
    radius: float
    points: str
    stand: Stand | None
    transform: str
    upright: str  # turns the words back
    words: str
    who: str
    troubles: tuple[str, ...]

    @property
    def is_on(self) -> bool:
        return self.stand is not None

    @property
    def has_place(self) -> bool:
        return self.stand is not None and self.stand.has_place

    @property
    def fields(self) -> tuple[tuple[str, str, str, str], ...]:
        """Name, label, unit and content of the three fields; empty without a place."""
        stand = self.stand if self.has_place else None
        figures = (stand.x_mm, stand.y_mm, stand.turn_deg) if stand else (None, None, None)
        labels = (("x", _("from the left"), "mm"), ("y", _("from the front"), "mm"), ("turn", _("turned"), "°"))
        return tuple(
            (name, label, unit, shown(value)) for (name, label, unit), value in zip(labels, figures, strict=True)
        )

    @property
    def other_plate(self) -> str:
        """The plate it would be taken from, in the list of what may be added."""
        return str(self.copy.plate) if self.copy.plate_id else ""


@dataclass(frozen=True)
class HandDrawing(BedDrawing):
    """Bed, margin, areas kept free and copies."""

    scale: float
    width_mm: float
    depth_mm: float
    margin: float
    gap: float
    copies: tuple[HandCopy, ...]

    @property
    def inner_radius(self) -> float:
        return round(self.width / 2 - self.margin, 1)

    @property
    def inner_edge(self) -> float:
        return round(EDGE + self.margin, 1)

    @property
    def inner_width(self) -> float:
        return round(self.width - 2 * self.margin, 1)

    @property
    def inner_depth(self) -> float:
        return round(self.depth - 2 * self.margin, 1)


def draw_bed(
    kind: PrinterKind,
    copies: Sequence[PrintCopy],
    stands: Sequence[Stand],
    names: Mapping[int, str],
    gap_mm: float,
    troubles: Mapping[int, tuple[str, ...]],
) -> HandDrawing:
    """The bed of a kind of printer with all copies; those not on the plate are there to be added."""
    scale = SIZE / max(kind.width_mm, kind.depth_mm)
    where = {stand.copy_id: stand for stand in stands}
    is_round = kind.bed == kind.Bed.ROUND
    return HandDrawing(
        width=round(kind.width_mm * scale, 1),
        depth=round(kind.depth_mm * scale, 1),
        scale=scale,
        width_mm=kind.width_mm,
        depth_mm=kind.depth_mm,
        is_round=is_round,
        margin=round(kind.margin_mm * scale, 1),
        gap=round(gap_mm * scale, 2),
        grid="" if is_round else grid_path(kind.width_mm, kind.depth_mm, scale),
        kept_free=kept_free(kind, scale),
        copies=tuple(
            _hand_copy(copy, names[copy.pk], where.get(copy.pk), kind, scale, troubles.get(copy.pk, ()))
            for copy in copies
        ),
    )


def _hand_copy(
    copy: PrintCopy, name: str, stand: Stand | None, kind: PrinterKind, scale: float, troubles: tuple[str, ...]
) -> HandCopy:
    source = copy.request.source
    footprint = footprint_of(source.report or {}, source.width_mm, source.depth_mm)
    radius, points = 0.0, ""
    if isinstance(footprint, Circle):
        radius = footprint.radius_mm * scale
    elif footprint is not None:
        points = " ".join(f"{x * scale:.1f},{-y * scale:.1f}" for x, y in corners_of(footprint))
    x, y = (stand.x_mm or 0.0, stand.y_mm or 0.0) if stand else (0.0, 0.0)
    turn = stand.turn_deg if stand else 0.0
    return HandCopy(
        copy=copy,
        name=name,
        is_circle=isinstance(footprint, Circle),
        radius=round(radius, 1),
        points=points,
        stand=stand,
        transform=f"translate({EDGE + x * scale:.2f} {EDGE + (kind.depth_mm - y) * scale:.2f}) rotate({-turn:.2f})",
        upright=f"rotate({turn:.2f})",
        words=str(copy.request.kit_part),
        who=who_for(copy),
        troubles=troubles,
    )
