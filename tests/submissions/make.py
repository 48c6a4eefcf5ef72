"""Submissions for tests: rows with stored figures where only the workflow is tested, real files where the check is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings as site
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from lessons.parts import wheel
from lessons.parts.files import stl_binary
from lessons.parts.wheel import WheelDesign
from submissions.models import Submission
from tests.world import World

PASSES = {
    "code": "closed",
    "level": "passes",
    "title": "The skin is closed",
    "figure": "7,420 triangles, no open edges",
    "why": "",
    "mend": "",
    "limit_source": "",
    "scale": None,
}
ADVICE = {
    "code": "overhang",
    "level": "advice",
    "title": "Five spokes start above the bed",
    "figure": "6.3 cm2, allowed 4 cm2",
    "why": "They need support under them.",
    "mend": "Let the spokes start at the bed.",
    "limit_source": "common practice",
    "scale": {"value": 6.3, "low": None, "high": 4.0, "unit": "cm2", "decimals": 1},
}
MUST_FIX = {
    "code": "hole_small",
    "level": "must_fix",
    "title": "The hub hole is too small for the axle",
    "figure": "2.95 mm, allowed 3.15 to 3.30 mm",
    "why": "The wheel would jam.",
    "mend": "Set the diameter of the hole to 3.2 mm.",
    "limit_source": "the kit part",
    "scale": {"value": 2.95, "low": 3.15, "high": 3.30, "unit": "mm", "decimals": 2},
}
FINDINGS = {"ok": [PASSES], "advice": [ADVICE, PASSES], "must_fix": [MUST_FIX, ADVICE, PASSES], "rejected": []}


def report(verdict: str = "ok", **changes: Any) -> dict[str, Any]:
    """A report as the check writes it."""
    values: dict[str, Any] = {
        "file": "wheel.stl",
        "verdict": verdict,
        "reason": "",
        "units": "mm",
        "unit_reason": "the hub hole fits the kit part in mm",
        "unit_proposed": None,
        "format": "stl-binary",
        "faces": 7420,
        "watertight": True,
        "winding_consistent": True,
        "bodies": 1,
        "volume_mm3": 7900.0,
        "area_mm2": 9000.0,
        "bbox_mm": [60.0, 60.0, 8.0],
        "centre_of_mass_mm": [0.0, 0.0, 4.0],
        "inertia_kg_m2": [[3e-6, 0.0, 0.0], [0.0, 3e-6, 0.0], [0.0, 0.0, 5.5e-6]],
        "overhang_area_mm2": 0.0,
        "support_volume_mm3": 0.0,
        "min_wall_mm": 1.24,
        "holes": [
            {
                "diameter_mm": 3.2,
                "free_diameter_mm": 3.19,
                "depth_mm": 8.0,
                "through": True,
                "axis": [0.0, 0.0, 1.0],
                "eccentricity_mm": 0.01,
                "roundness_mm": 0.0,
                "centre_mm": [0.0, 0.0, 4.0],
                "certain": True,
            }
        ],
        "mass_g": 9.8,
        "filament_m": 3.3,
        "duration_s": 2160.0,
        "layers": 40,
        "copies_in_file": 1,
        "footprint": {"kind": "circle", "radius_mm": 30.0},
        "findings": FINDINGS.get(verdict, []),
    }
    return {**values, **changes}


def make_submission(world: World, **values: Any) -> Submission:
    """A checked draft of the world's team, its figures stored, not measured."""
    verdict = values.get("verdict", "ok")
    stored = values.get("report", report(verdict))
    defaults: dict[str, Any] = {
        "assignment": world.assignment,
        "kit_part": world.wheel,
        "team": world.team,
        "uploaded_by": world.student,
        "version": 1,
        "file_name": "pips-wheel.stl",
        "file_bytes": 12_000,
        "check_state": "checked",
        "checked_at": timezone.now(),
        "check_s": 0.4,
        "verdict": verdict,
        "report": stored,
        "picture": '<svg viewBox="0 0 10 10" role="img"><title>The wheel</title></svg>',
        "mass_g": (stored or {}).get("mass_g"),
        "duration_s": (stored or {}).get("duration_s"),
        "width_mm": 60.0,
        "depth_mm": 60.0,
        "height_mm": 8.0,
    }
    merged = {**defaults, **values}
    if merged.get("state", "draft") != "draft":
        merged.setdefault("handed_in_at", timezone.now())
    merged.setdefault("sha256", f"{merged['version']:064d}")
    submission = Submission(**merged)
    submission.file.save("", ContentFile(wheel_stl(merged["version"])), save=False)
    submission.save()
    return submission


def wheel_stl(spokes: int = 6) -> bytes:
    """A real wheel that passes, as STL bytes; another number of spokes is another file."""
    return stl_binary(wheel(WheelDesign(spokes=2 + spokes, facets=48, bore_facets=48)))


def stl_upload(content: bytes | None = None, name: str = "pips-wheel.stl") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, wheel_stl() if content is None else content, "model/stl")


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def post_file(client, world, file, **extra):
    address = reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk])
    return client.post(address, {"file": file} if file else {}, **extra)


def stored_files() -> list[Path]:
    return [path for path in Path(site.MEDIA_ROOT).rglob("*") if path.is_file()]
