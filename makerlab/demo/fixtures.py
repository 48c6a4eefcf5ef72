"""The invented school as it stands in demo_fixtures/, read without a database."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from meshcheck.types import Gauge, Limits, PrintSettings

FOLDER = Path(__file__).resolve().parents[2] / "demo_fixtures"


@dataclass(frozen=True)
class KitPartFacts:
    """What a check needs to know of a kit part."""

    gauge: Gauge | None = None
    settings: PrintSettings = field(default_factory=PrintSettings)
    limits: Limits = field(default_factory=Limits)

    def with_settings(self, **changes: Any) -> KitPartFacts:
        """The same part printed otherwise. Raises ValueError when the settings cannot be."""
        return replace(self, settings=replace(self.settings, **changes))


@cache
def school() -> dict[str, Any]:
    facts: dict[str, Any] = json.loads((FOLDER / "school.json").read_text("utf-8"))
    return facts


@cache
def lesson_plans() -> list[dict[str, Any]]:
    return [json.loads((FOLDER / name).read_text("utf-8")) for name in school()["lesson_plans"]]


@cache
def student_files() -> list[dict[str, Any]]:
    """Files of the invented students: file, part, team, version, what it shows, the verdict it must get."""
    files: list[dict[str, Any]] = json.loads((FOLDER / "students.json").read_text("utf-8"))["files"]
    return files


def lesson_files() -> list[dict[str, Any]]:
    """Files of other lessons than the first, as the classes' assignments name them: file, part, team, version, and
    the verdict it must get."""
    return [
        {**entry, "folder": "hulls"}
        for school_class in school()["classes"]
        for assignment in school_class["assignments"]
        for entry in assignment.get("files", [])
    ]


def student_path(entry: dict[str, Any]) -> Path:
    return FOLDER / "meshes" / str(entry.get("folder", "students")) / str(entry["file"])


def kit_part_codes() -> list[str]:
    return [part["code"] for plan in lesson_plans() for part in plan["kit"]]


def read_kit_part(code: str) -> KitPartFacts:
    """Gauge, print settings and limits of a demo kit part. Raises KeyError for a code that is not there."""
    for plan in lesson_plans():
        for part in plan["kit"]:
            if part["code"] == code:
                settings = PrintSettings(**{**part["settings"], "material": part["material"]})
                limits = plan["limits"] if part["redesignable"] else {}
                return KitPartFacts(
                    gauge=gauge_of(part["gauge"]) if part["gauge"] else None,
                    settings=settings,
                    limits=Limits(limits.get("mass_max_g"), limits.get("duration_max_s"), largest_bed()),
                )
    raise KeyError(code)


def gauge_of(values: dict[str, Any]) -> Gauge:
    """A Gauge from the fields of the PartGauge model."""
    sizes = [values.get(f"size_{axis}_mm") for axis in "xyz"]
    box = None if None in sizes else (float(sizes[0]), float(sizes[1]), float(sizes[2]))  # type: ignore[arg-type]
    names = (
        "hole_diameter_mm", "hole_plus_mm", "hole_minus_mm", "hole_depth_mm", "hole_depth_tolerance_mm", "through",
        "eccentricity_max_mm",
    )  # fmt: skip
    return Gauge(**{name: values[name] for name in names if name in values}, size_max_mm=box)


def largest_bed() -> tuple[float, float, float]:
    """The largest box that one printer of the demo's room holds."""
    kinds = school()["room"]["printer_kinds"]
    inner = [
        (side(kind, "width_mm"), side(kind, "depth_mm"), float(kind["height_mm"]))
        for kind in kinds
        if kind["bed"] == "rectangular"
    ]
    return max(inner, key=lambda box: box[0] * box[1] * box[2])


def side(kind: dict[str, Any], name: str) -> float:
    return float(kind[name]) - 2 * float(kind["margin_mm"])
