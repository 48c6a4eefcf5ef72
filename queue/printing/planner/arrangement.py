"""What tells one arrangement of a plate from another: the parts, where they stand about the middle of the bed, and how
they are printed. Two plates with equal arrangements are printed by the same file."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from meshcheck.types import PrintSettings
from planning.clearance import corners_of
from planning.outlines import turned
from planning.types import Circle
from printing.models import Plate, PrintCopy
from printing.planner.snapshot import source_of
from printing.planner.values import Laid, Place, Source, WantedCopy

Spot = tuple[
    Source, float, float, float
]  # what stands there, x and y in mm from the middle of the bed, turn in degrees


def arrangement_of(laid: Laid, copies: Mapping[int, WantedCopy]) -> str:
    """The arrangement of a plate as the planner lays it."""
    middle_x, middle_y = laid.bed.width_mm / 2, laid.bed.depth_mm / 2
    spots = [
        (copies[place.copy_id].source, place.x_mm - middle_x, place.y_mm - middle_y, place.turn_deg)
        for place in laid.places
    ]
    return _code(spots, json.loads(laid.settings))


def arrangement_of_plate(plate: Plate, copies: Iterable[PrintCopy]) -> str:
    """The arrangement of a plate as it stands in the database."""
    spots = []
    for copy in copies:
        source = source_of("", copy.request.source)
        if not isinstance(source, str) and copy.x_mm is not None and copy.y_mm is not None:
            dx_mm, dy_mm = copy.x_mm - plate.bed_width_mm / 2, copy.y_mm - plate.bed_depth_mm / 2
            spots.append((source, dx_mm, dy_mm, copy.turn_deg))
    return _code(spots, plate.settings)


def _code(spots: Iterable[Spot], settings: Mapping[str, Any]) -> str:
    """sha256; in no order, because it does not matter which copy has which number."""
    rows = sorted(
        json.dumps([source.sha256, source.unit, source.pose, round(x, 3), round(y, 3), round(turn, 3)])
        for source, x, y, turn in spots
    )
    return hashlib.sha256(json.dumps([rows, dict(settings)], sort_keys=True).encode()).hexdigest()


def size_of(laid: Laid, copies: Mapping[int, WantedCopy]) -> tuple[float, float, float]:
    """Width, depth and height in mm of everything that is printed: the box around all parts where they stand, with the
    raft under and around them where there is one. A brim is not in it."""
    corners = [corner for place in laid.places for corner in _corners(copies[place.copy_id], place)]
    width, depth = (max(axis) - min(axis) for axis in zip(*corners, strict=True))
    height = max(copies[place.copy_id].source.height_mm for place in laid.places)
    settings = PrintSettings(**json.loads(laid.settings))
    if settings.raft_layers:
        width, depth = width + 2 * settings.raft_margin_mm, depth + 2 * settings.raft_margin_mm
        height += settings.first_layer_mm + (settings.raft_layers - 1) * settings.layer_height_mm
    return width, depth, height


def _corners(copy: WantedCopy, place: Place) -> list[tuple[float, float]]:
    footprint = copy.source.footprint
    if isinstance(footprint, Circle):
        r = footprint.radius_mm
        return [(place.x_mm - r, place.y_mm - r), (place.x_mm + r, place.y_mm + r)]
    turned_corners = [turned(corner, place.turn_deg) for corner in corners_of(footprint)]
    return [(place.x_mm + x, place.y_mm + y) for x, y in turned_corners]
