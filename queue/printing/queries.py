"""What the pages of the room ask for."""

from __future__ import annotations

from typing import Any

from printing.models import Plate
from printing.planner.snapshot import source_of


def placed_parts_of(plate: Plate) -> list[dict[str, Any]]:
    """The copies of a plate as the mesh core takes them, in order of their numbers."""
    parts = []
    for copy in plate.copies.select_related("request__submission", "request__kit_part").order_by("place"):
        measured = copy.request.source
        source = source_of(str(measured.pk), measured)
        if isinstance(source, str):
            continue
        parts.append(
            {
                "path": source.path,
                "name": source.name,
                "unit": source.unit,
                "x_mm": copy.x_mm,
                "y_mm": copy.y_mm,
                "turn_deg": copy.turn_deg,
            }
        )
    return parts
