"""The meshes of a lesson package, read by the engine in disposable child processes before anything is stored."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from lessons.plans.package_parts import PartIn
from lessons.plans.package_reading import PackageRefused
from makerlab.work import child

SERVICE = "meshcheck.service:look"
LOOK_S_MOST = 60.0  # for all parts together: somebody is waiting for the page
Looked = dict[str, Any]  # size_mm, triangles and closed of meshcheck.service.look


def look_at(parts: list[PartIn]) -> dict[str, Looked]:
    """What the engine reads in each mesh, by the code of its part. Raises PackageRefused with every mesh that cannot be
    read."""
    began = time.monotonic()
    found: dict[str, Looked] = {}
    problems = []
    with tempfile.TemporaryDirectory() as folder:
        for part in parts:
            if time.monotonic() - began > LOOK_S_MOST:
                raise PackageRefused(_("The meshes take too long to read. Bring in a lesson with fewer triangles."))
            path = Path(folder) / "mesh"
            path.write_bytes(part.mesh)
            looked, problem = _look(path, part)
            found[part.values["code"]] = looked
            problems += [f"{part.values['name']}, {part.place}: {problem}"] if problem else []
    if problems:
        raise PackageRefused(*problems)
    return found


def _look(path: Path, part: PartIn) -> tuple[Looked, str]:
    arguments = {"path": str(path), "name": part.values["file_name"], "unit": part.values["unit"] or None}
    try:
        answer = child.run(SERVICE, arguments)
    except child.ChildFailed as failure:
        why = {"time": _("reading it takes too long."), "memory": _("reading it takes too much memory.")}
        return {}, why.get(failure.why, _("this mesh cannot be read."))
    if not isinstance(answer, dict):
        return {}, _("this mesh cannot be read.")
    if "rejected" in answer:
        return {}, str(answer["rejected"])[:400]
    try:
        sizes = [round(float(side), 3) for side in answer["size_mm"]]
        return {"size_mm": sizes, "triangles": int(answer["triangles"]), "closed": bool(answer["closed"])}, ""
    except (KeyError, TypeError, ValueError):
        return {}, _("this mesh cannot be read.")
