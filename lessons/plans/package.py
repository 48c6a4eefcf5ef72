"""A lesson as one file to keep or hand on: a zip of ``lesson.json`` and the meshes of its kit (docs/lesson-plan.md).

The same lesson always makes the same bytes. Nobody's name, school or class is in it.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _

from lessons.actions.plans import OWN, snapshot
from lessons.models import KitPart, LessonPlan
from lessons.packed import MEGABYTE, Caps
from lessons.plans import kit
from lessons.plans.cautions import with_standard
from lessons.plans.checks import check_plan, told

FORMAT, FORMAT_VERSION = "makerlab lesson", 1
LESSON, MESHES = "lesson.json", "meshes"
LESSON_BYTES_MOST = MEGABYTE
SUFFIXES = (".stl", ".3mf", ".obj")
CAPS = Caps(
    packed_bytes=settings.PACKAGE_MAX_BYTES, unpacked_bytes=2 * settings.PACKAGE_MAX_BYTES, members=64, folders=True
)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can name: when a package was made is nobody's business
FAULTS_MOST = 3
_WELL_UNDER_THE_CAP = CAPS.ratio // 2


class CannotExport(ValueError):
    """The lesson cannot be put into a package; the message says why."""


def export(plan: LessonPlan) -> bytes:
    """The package. Parts that were put away are not in it. Raises CannotExport, also for a lesson that is not written
    to its end: a package that could not be brought in again would help nobody."""
    faults = told(check_plan({name: getattr(plan, name) for name in OWN}, plan.content))
    if faults:
        raise CannotExport(
            _("Finish the lesson first, then export it. %(faults)s") % {"faults": " ".join(faults[:FAULTS_MOST])}
        )
    rows, meshes = [], {}
    for part in plan.kit_parts.filter(archived_at=None).select_related("gauge").defer("report", "picture"):
        data = _mesh(part)
        place = f"{MESHES}/{part.code}{_suffix(part)}"
        rows.append({**part_row(part), "file": place, "sha256": hashlib.sha256(data).hexdigest()})
        meshes[place] = data
    lesson = lesson_json(plan, rows)
    if sum(map(len, meshes.values())) + len(lesson) > CAPS.packed_bytes:
        raise CannotExport(
            _("The files of the kit are larger than the %(most)d MB a package may hold.")
            % {"most": CAPS.packed_bytes // MEGABYTE}
        )
    return _zipped({LESSON: lesson, **meshes})


def lesson_json(plan: LessonPlan, rows: list[dict[str, Any]]) -> bytes:
    """``lesson.json``: the plan's fields and content, and its kit as ``rows``."""
    lesson = {"format": FORMAT, "format_version": FORMAT_VERSION, **snapshot(plan), "kit": rows}
    lesson["content"] = with_standard(plan.content, has_kit=bool(rows))  # as its page reads
    return (json.dumps(lesson, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()


def part_row(part: KitPart) -> dict[str, Any]:
    """A kit part without its mesh."""
    gauge = getattr(part, "gauge", None)
    return {
        "code": part.code,
        **{name: getattr(part, name) for name in kit.OWN},
        "settings": part.settings,
        "file_name": part.file_name,
        "unit": part.unit,
        "pose": part.pose,
        "gauge": kit.gauge_values(gauge) if gauge else None,
    }


def _suffix(part: KitPart) -> str:
    suffix = PurePosixPath(part.file_name).suffix.lower()
    return suffix if suffix in SUFFIXES else ".stl"


def _mesh(part: KitPart) -> bytes:
    try:
        if not part.file:
            raise FileNotFoundError(part.file_name)
        with part.file.open("rb") as stream:
            return bytes(stream.read())
    except FileNotFoundError as error:
        raise CannotExport(
            _("The file of %(part)s is not stored here. Give the part its file again, then export the lesson.")
            % {"part": part.name}
        ) from error


def _zipped(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as package:
        for name, data in members.items():
            info = zipfile.ZipInfo(name, _EPOCH)
            info.external_attr = 0o644 << 16
            # what packs too well would look like a trap to whoever opens it
            tight = len(zlib.compress(data)) * _WELL_UNDER_THE_CAP > len(data)
            info.compress_type = zipfile.ZIP_DEFLATED if tight else zipfile.ZIP_STORED
            package.writestr(info, data)
    return out.getvalue()
