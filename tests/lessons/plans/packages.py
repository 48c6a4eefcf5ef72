"""Lesson packages for the tests: a small sound one, and what reading one says."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile

from lessons.actions import packages
from lessons.models import LessonPackage
from lessons.plans.package_reading import PackageRefused, read
from tests.conftest import ROOT

WHEEL = (ROOT / "demo_fixtures" / "meshes" / "kit" / "wheel.stl").read_bytes()
Lesson = dict[str, Any]


def wheel_row(**values: Any) -> Lesson:
    row = {
        "code": "wheel", "name": "Wheel", "task": "Make four wheels.", "copies_per_team": 4, "spares": 2,
        "material": "PLA", "colour": "white", "redesignable": True, "settings": {"infill_share": 0.2, "walls": 3},
        "file": "meshes/wheel.stl", "file_name": "wheel.stl", "sha256": hashlib.sha256(WHEEL).hexdigest(), "unit": "",
        "pose": [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
        "gauge": {
            "hole_diameter_mm": 3.2, "hole_plus_mm": 0.1, "hole_minus_mm": 0.05, "hole_depth_mm": 8.0,
            "hole_depth_tolerance_mm": 0.25, "through": True, "eccentricity_max_mm": 0.2, "size_x_mm": 70.0,
            "size_y_mm": 70.0, "size_z_mm": 12.0, "hub_diameter_mm": 12.0,
        },
    }  # fmt: skip
    return {**row, **values}


def lesson(**values: Any) -> Lesson:
    made = {
        "format": "makerlab lesson", "format_version": 1, "title": "Rolling home", "summary": "Roll.",
        "grade_band": "6-8", "meetings_count": 1, "group_size": 3,
        "content": {
            "objectives": ["Time a run."],
            "steps": [{"meeting": 1, "minutes": 50, "title": "Race", "text": "Roll it down."}],
        },
        "kit": [wheel_row()],
    }  # fmt: skip
    return {**made, **values}


def packed(document: Any = None, members: dict[str, bytes] | None = None) -> bytes:
    text = document if isinstance(document, bytes) else json.dumps(document or lesson()).encode()
    files = {"lesson.json": text, "meshes/wheel.stl": WHEEL, **(members or {})}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in files.items():
            package.writestr(name, data)
    return out.getvalue()


def unpacked(data: bytes) -> tuple[Lesson, dict[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        members = {name: package.read(name) for name in package.namelist()}
    return json.loads(members.pop("lesson.json")), members


def brought(user: Any, data: bytes) -> LessonPackage:
    return packages.bring_package(user, SimpleUploadedFile("rolling.zip", data))


def stored_files() -> list[Path]:
    return sorted(path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file())


def faults(document: Any = None, members: dict[str, bytes] | None = None, data: bytes | None = None) -> str:
    with pytest.raises(PackageRefused) as refused:
        read(packed(document, members) if data is None else data)
    return " ".join(refused.value.problems)
