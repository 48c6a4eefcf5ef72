"""A look inside a plate: its layers, as its estimate counts them."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.utils.translation import gettext as _

from lessons.measuring import drawn_layer
from meshcheck.types import PrintSettings
from printing import queries
from printing.models import Plate

SERVICE = "meshcheck.service:plate_layer"


def layer_of_plate(plate: Plate, number: int) -> dict[str, Any]:
    """One layer of the plate as it stands, on the printer it is planned for (the room's usual one where it is not):
    ``meshcheck.service:plate_layer``'s answer. Raises ChildFailed or FileNotFoundError."""
    copies = queries.placed_copies(plate)
    parts = queries.placed_parts_of(plate)
    if len(parts) != len(copies) or not parts:
        return {"unknown": _("One of its parts is not measured, or no copy stands on it any more.")}
    machine = (
        plate.printer.kind.machine_value() if plate.printer else queries.room_for_check(plate.room.school_id).machine
    )
    settings = {**asdict(PrintSettings()), **plate.settings}
    arguments = {"parts": parts, "settings": settings, "machine": asdict(machine), "number": number}
    placed = [{name: part[name] for name in part if name not in ("path", "name")} for part in parts]
    contents = [copy.request.source.sha256 for copy in copies]
    kept_by = [contents, placed, settings, arguments["machine"], number]
    return drawn_layer(SERVICE, arguments, kept_by)
