"""A plate seen from above, as positions for SVG attributes: millimetres on the bed to units of the drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from planning.clearance import corners_of
from planning.outlines import turned
from planning.types import Circle
from printing.models import Plate, PrintCopy, PrinterKind
from printing.planner.snapshot import footprint_of
from printing.queries import bed_shift

SIZE = 420.0  # the longer side of the bed, in units of the drawing
EDGE = 6.0
FRONT = 24.0  # room for the word that says where the front is
GRID_MM = 20.0
SMALL = 15.0  # outlines with less reach than this have no room for words


Box = tuple[float, float, float, float]  # x, y, width, depth; y runs down


@dataclass(frozen=True)
class DrawnCopy:
    """One copy: its centre, its outline (a circle, else a polygon), and what is written on it."""

    copy_id: int
    place: int
    x: float
    y: float
    radius: float
    is_circle: bool
    points: str
    who: str
    part: str

    @property
    def shows_words(self) -> bool:
        return self.radius >= SMALL

    @property
    def tag_y(self) -> float:
        return round(self.y - 2, 1)

    @property
    def who_y(self) -> float:
        return round(self.y + 14, 1)


@dataclass(frozen=True)
class BedDrawing:
    """The bed of a printer, in units of the drawing. Its front is at the foot."""

    width: float
    depth: float
    is_round: bool
    grid: str
    kept_free: tuple[Box, ...]

    @property
    def view_box(self) -> str:
        return f"0 0 {self.width + 2 * EDGE:g} {self.depth + 2 * EDGE + FRONT:g}"

    @property
    def middle_x(self) -> float:
        return self.width / 2 + EDGE

    @property
    def middle_y(self) -> float:
        return self.depth / 2 + EDGE

    @property
    def radius(self) -> float:
        return self.width / 2

    @property
    def front_y(self) -> float:
        return self.depth + 2 * EDGE + 14


@dataclass(frozen=True)
class PlateDrawing(BedDrawing):
    """Bed and copies."""

    copies: tuple[DrawnCopy, ...]


def draw_plate(plate: Plate, copies: Sequence[PrintCopy]) -> PlateDrawing:
    """The plate on the bed of its printer; on the bed it was arranged for while it has none."""
    kind = plate.printer.kind if plate.printer else None
    width_mm = kind.width_mm if kind else plate.bed_width_mm
    depth_mm = kind.depth_mm if kind else plate.bed_depth_mm
    is_round = kind.bed == kind.Bed.ROUND if kind else plate.bed_round
    scale = SIZE / max(width_mm, depth_mm)
    shift = bed_shift(plate)
    drawn = [_drawn(copy, shift, depth_mm, scale) for copy in copies if copy.x_mm is not None and copy.y_mm is not None]
    return PlateDrawing(
        width=round(width_mm * scale, 1),
        depth=round(depth_mm * scale, 1),
        is_round=is_round,
        copies=tuple(drawn),
        grid=grid_path(width_mm, depth_mm, scale) if not is_round else "",
        kept_free=kept_free(kind, scale) if kind else (),
    )


def kept_free(kind: PrinterKind, scale: float) -> tuple[Box, ...]:
    """The areas of a bed that stay free, in units of its drawing."""
    return tuple(
        (
            round(EDGE + area.x_mm * scale, 1),
            round(EDGE + (kind.depth_mm - area.y_mm - area.depth_mm) * scale, 1),
            round(area.width_mm * scale, 1),
            round(area.depth_mm * scale, 1),
        )
        for area in kind.areas()
    )


def _drawn(copy: PrintCopy, shift: tuple[float, float], depth_mm: float, scale: float) -> DrawnCopy:
    source = copy.request.source
    footprint = footprint_of(source.report or {}, source.width_mm, source.depth_mm)
    x = EDGE + ((copy.x_mm or 0.0) + shift[0]) * scale
    y = EDGE + (depth_mm - (copy.y_mm or 0.0) - shift[1]) * scale
    reach, points = 0.0, ""
    if isinstance(footprint, Circle):
        reach = footprint.radius_mm * scale
    elif footprint is not None:
        corners = [turned(corner, copy.turn_deg) for corner in corners_of(footprint)]
        points = " ".join(f"{x + cx * scale:.1f},{y - cy * scale:.1f}" for cx, cy in corners)
        reach = min(max(abs(cx) for cx, _cy in corners), max(abs(cy) for _cx, cy in corners)) * scale
    return DrawnCopy(
        copy_id=copy.pk,
        place=copy.place or 0,
        x=round(x, 1),
        y=round(y, 1),
        radius=round(reach, 1),
        is_circle=isinstance(footprint, Circle),
        points=points,
        who=who_for(copy),
        part=str(copy.request.kit_part),
    )


def who_for(copy: PrintCopy) -> str:
    """The tray it goes to; spares have none."""
    team = copy.request.team
    return _("tray %(tray)s") % {"tray": team.tray} if team else _("spare")


def grid_path(width_mm: float, depth_mm: float, scale: float) -> str:
    """A hair line every 20 mm from the front left corner."""
    width, depth = width_mm * scale, depth_mm * scale
    columns = [EDGE + GRID_MM * step * scale for step in range(1, int(width_mm / GRID_MM) + 1)]
    rows = [EDGE + depth - GRID_MM * step * scale for step in range(1, int(depth_mm / GRID_MM) + 1)]
    upright = "".join(f"M{x:.1f} {EDGE:g}V{EDGE + depth:.1f}" for x in columns)
    return upright + "".join(f"M{EDGE:g} {y:.1f}H{EDGE + width:.1f}" for y in rows)
