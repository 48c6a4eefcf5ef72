"""G-code made for a plate of real wheels, and bringing it as a technician does."""

from __future__ import annotations

import math

from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from makerlab.work.actions import run_waiting
from meshcheck.materials import MATERIALS
from printing.actions.prepared import bring_prepared
from printing.models import Plate, PreparedFile
from printing.planner.arrangement import size_of
from printing.planner.snapshot import take_snapshot
from tests.printing.helpers import ordered_mesh, plan_now, with_meshes

FEED_MM_S = 40.0


def plate_of_wheels(world) -> Plate:
    """A planned plate of four real wheels."""
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    return Plate.objects.filter(copies__request__kit_part=world.wheel).distinct().get()


def file_for(
    plate: Plate,
    *,
    grams: float = 1,
    taller_mm: float = 0,
    nozzle_c: int = 205,
    x_mm: float = 0,
    speed: float | None = None,
) -> str:
    """G-code as the box around the plate's parts wants it, layer by layer: the plate's height and, times ``grams``, its
    grams; ``x_mm`` moves it all on the bed. At ``speed`` in mm/s, or so that it lasts about as long as the plate."""
    snapshot = take_snapshot(plate.room_id, timezone.now())
    laid = next(each.laid for each in snapshot.plates if each.id == plate.pk)
    width, depth, height = size_of(laid, snapshot.copies)
    bed = plate.printer.kind
    round_bed = bed.bed == "round"
    left = (0 if round_bed else bed.width_mm / 2) - width / 2 + x_mm
    front = (0 if round_bed else bed.depth_mm / 2) - depth / 2
    layers = round((height + taller_mm) / 0.2)
    mm3 = grams * plate.mass_g / MATERIALS["PLA"].density_g_cm3 * 1000
    e_mm = mm3 / (math.pi * 1.75**2 / 4) / layers / 4
    mm_s = speed or layers * 2 * (width + depth) / (plate.estimates_s[str(plate.printer_id)] - 200)
    lines = ["M140 S55", f"M109 S{nozzle_c}", "G28", "G90", "M83", f"G1 F{mm_s * 60:.3f}"]
    for k in range(layers):
        lines.append(f"G0 X{left:.3f} Y{front:.3f} Z{0.2 * (k + 1):.2f}")
        for x, y in ((width, 0), (width, depth), (0, depth), (0, 0)):
            lines.append(f"G1 X{left + x:.3f} Y{front + y:.3f} E{e_mm:.5f}")
    return "\n".join(lines)


def upload(text: str | bytes, name: str = "P1.gcode") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, text.encode() if isinstance(text, str) else text, "text/plain")


def bring(world, plate, text, dialect="printer-ms", **values) -> PreparedFile:
    prepared = bring_prepared(plate, plate.printer.kind, dialect, upload(text, **values), world.technician)
    run_waiting("measure")
    prepared.refresh_from_db()
    plate.refresh_from_db()
    return prepared


def codes(prepared, level="must_fix"):
    return {each["code"] for each in prepared.reading["findings"] if each["level"] == level}
