"""The front door for other processes: plain values in, plain values out, files by path.

Run in a disposable child: everything here reads files from outside.
"""

from __future__ import annotations

import base64
import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Literal

from meshcheck.check import check_part
from meshcheck.gcode.belongs import belongs_to_plate, fits_bed, suits_material, takes_as_long
from meshcheck.gcode.dialect import DIALECTS
from meshcheck.gcode.facts import GcodeRejected
from meshcheck.gcode.reader import read_gcode
from meshcheck.inside import look_inside
from meshcheck.inside_plate import look_inside_files
from meshcheck.materials import MATERIALS
from meshcheck.overhang import bed_slack_mm, overhang
from meshcheck.picture import draw
from meshcheck.plating import arranged, estimate_files, placed_file, read_solid, rotation_of
from meshcheck.report import finding_json, report_json
from meshcheck.shown.make import Shown, shown
from meshcheck.types import Gauge, Limits, Machine, Mesh, MeshRejected, PrintSettings, Unit, Unknown, Vector
from telling import as_data, told


def measure(
    path: str,
    name: str,
    gauge: Mapping[str, Any] | None,
    settings: Mapping[str, Any],
    machine: Mapping[str, Any],
    limits: Mapping[str, Any],
    unit: str | None,
    pose: Sequence[Sequence[float]] | None = None,
    kit_part: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Check one stored file; ``name`` is what the student called it.

    ``kit_part`` is the path, name and unit of the kit's own file where there is one to compare with.
    The mappings hold the fields of Gauge, PrintSettings, Machine and Limits. Answers ``report`` (as
    ``meshcheck.report.report_json`` describes), ``picture`` (SVG) and ``shown`` (meshcheck.shown.make.Shown as base64;
    None when there is nothing to show). A file that cannot be read is a report with the verdict ``rejected``. Raises
    OSError, and TypeError or ValueError for settings that cannot be.
    """
    report = check_part(
        Path(path).read_bytes(),
        name,
        gauge=Gauge(**_vectors(gauge, "size_max_mm")) if gauge is not None else None,
        settings=PrintSettings(**settings),
        machine=Machine(**machine),
        limits=Limits(**_vectors(limits, "bed_mm")),
        unit=Unit(unit) if unit else None,
        pose=rotation_of(pose) if pose else None,
        kit_mesh=_kit_mesh(kit_part),
    )
    return {"report": report_json(report), "picture": draw(report), "shown": _as_text(shown(report))}


def _as_text(made: Shown | None) -> dict[str, Any] | None:
    if made is None:
        return None
    data = {"mesh": made.mesh, "picture": made.picture, "small": made.small}
    return {"facts": made.facts, **{name: base64.b64encode(piece).decode() for name, piece in data.items()}}


def _kit_mesh(kit_part: Mapping[str, Any] | None) -> Mesh | None:
    """The kit's own part; None where its file is gone or cannot be read, which says nothing about the student's."""
    if kit_part is None:
        return None
    unit = kit_part.get("unit")
    try:
        return read_solid(kit_part["path"], kit_part["name"], Unit(unit) if unit else None)[0]
    except (MeshRejected, OSError):
        return None


def look(path: str, name: str, unit: str | None) -> dict[str, Any]:
    """What a file holds, without checking it as a part: ``size_mm``, ``triangles`` and whether it is ``closed``; or
    ``rejected`` with the reason."""
    try:
        mesh, closed = read_solid(path, name, Unit(unit) if unit else None)
    except MeshRejected as rejected:
        return {"rejected": rejected.message}
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    return {"size_mm": [float(side) for side in high - low], "triangles": len(mesh.faces), "closed": bool(closed)}


def unknown(because: str) -> dict[str, Any]:
    """The answer where nothing can be said: why, and how that was said (``told.as_data``)."""
    return {"unknown": because, "said": {"unknown": as_data(because)}}


def layer(
    path: str,
    name: str,
    settings: Mapping[str, Any],
    machine: Mapping[str, Any],
    unit: str | None,
    pose: Sequence[Sequence[float]] | None,
    number: int,
) -> dict[str, Any]:
    """One layer of a stored part: the fields of inside.LayerView, or ``unknown`` with the reason. ``number`` from 0."""
    asked = PrintSettings(**settings)
    try:
        mesh, closed = read_solid(path, name, Unit(unit) if unit else None, rotation_of(pose) if pose else None)
    except MeshRejected as rejected:
        return unknown(rejected.message)
    if not closed:
        return unknown(told("Its skin is not closed, so nobody can tell what is inside."))
    support = overhang(mesh, asked.overhang_limit_deg, watertight=True, bed_mm=bed_slack_mm(asked, bool(pose)))
    return dataclasses.asdict(look_inside(mesh, asked, Machine(**machine), support, number))


def plate_layer(
    parts: Sequence[Mapping[str, Any]], settings: Mapping[str, Any], machine: Mapping[str, Any], number: int
) -> dict[str, Any]:
    """One layer of an arranged plate (fields of plating.PlacedFile): the fields of inside.LayerView, or ``unknown``
    with the reason. ``number`` from 0."""
    try:
        found = look_inside_files(
            [placed_file(part) for part in parts], PrintSettings(**settings), Machine(**machine), number
        )
    except MeshRejected as rejected:
        return unknown(rejected.message)
    return unknown(found.because) if isinstance(found, Unknown) else dataclasses.asdict(found)


def estimate_plate(
    parts: Sequence[Mapping[str, Any]], settings: Mapping[str, Any], machines: Mapping[str, Mapping[str, Any]]
) -> dict[str, Any]:
    """Grams, and seconds on each kind of machine, of a plate of stored files (fields of plating.PlacedFile).

    Answers mass_g, filament_m, layers, durations_s and cool_down_s by machine key, or ``unknown`` with the reason.
    """
    kinds = {key: Machine(**values) for key, values in machines.items()}
    try:
        found = estimate_files([placed_file(part) for part in parts], PrintSettings(**settings), kinds)
    except MeshRejected as rejected:
        return unknown(rejected.message)
    if isinstance(found, Unknown):
        return unknown(found.because)
    some = next(iter(found.values()))
    return {
        "mass_g": some.mass_g + some.support_g + some.raft_brim_g,
        "filament_m": some.filament_m,
        "layers": some.layers,
        "durations_s": {key: value.duration_s for key, value in found.items()},
        "cool_down_s": {key: value.cool_down_s for key, value in found.items()},
    }


def read_prepared(
    path: str,
    dialect: str,
    machine: Mapping[str, Any],
    material: str,
    plate: Mapping[str, Any],
    bed_mm: Sequence[Vector] | None,
) -> dict[str, Any]:
    """Read a file of machine words that stands for a plate's estimate (see ``meshcheck.gcode``).

    ``plate`` holds height_mm, grams, extents_mm (x, y) and, where known, duration_s of the plate it should belong to;
    ``bed_mm`` the lowest and highest corner of the printer's box, None when not known. Answers ``facts`` and
    ``findings``, or ``rejected`` with code, message and mend. Raises OSError, and KeyError for a dialect or material
    that is not in its table.
    """
    words, filament = DIALECTS[dialect], MATERIALS[material]
    try:
        facts = read_gcode(Path(path).read_bytes(), words, Machine(**machine), filament)
    except GcodeRejected as wrong:
        return {
            "rejected": {
                "code": wrong.code,
                "message": wrong.message,
                "mend": wrong.mend,
                "said": {"message": as_data(wrong.message), "mend": as_data(wrong.mend)},
            }
        }
    x, y = plate["extents_mm"]
    findings = belongs_to_plate(facts, plate["height_mm"], plate["grams"], (x, y)) + suits_material(facts, filament)
    if plate.get("duration_s") is not None:
        findings += takes_as_long(facts, plate["duration_s"])
    if bed_mm is not None:
        low, high = bed_mm
        findings += fits_bed(facts, low, high)
    return {"facts": asdict(facts), "findings": [finding_json(finding) for finding in findings]}


def write_plate(
    parts: Sequence[Mapping[str, Any]], path: str, kind: Literal["stl", "3mf"], title: str
) -> dict[str, Any]:
    """Write the arranged plate to ``path``; answers its size in ``bytes``. Raises MeshRejected and OSError."""
    data = arranged([placed_file(part) for part in parts], kind, title)
    Path(path).write_bytes(data)
    return {"bytes": len(data)}


def _vectors(values: Mapping[str, Any], name: str) -> dict[str, Any]:
    """JSON has lists where the dataclasses have tuples."""
    given: Vector | None = values.get(name)
    return {**values, name: tuple(given)} if given is not None else dict(values)
