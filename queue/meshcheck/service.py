"""The front door for other processes: plain values in, plain values out, files by path.

Run in a disposable child: everything here reads files from outside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from meshcheck.check import check_part
from meshcheck.picture import draw
from meshcheck.plating import arranged, estimate_files, placed_file
from meshcheck.report import report_json
from meshcheck.types import Gauge, Limits, Machine, MeshRejected, PrintSettings, Unit, Unknown, Vector


def measure(
    path: str,
    name: str,
    gauge: Mapping[str, Any] | None,
    settings: Mapping[str, Any],
    machine: Mapping[str, Any],
    limits: Mapping[str, Any],
    unit: str | None,
) -> dict[str, Any]:
    """Check one stored file; ``name`` is what the student called it.

    The mappings hold the fields of Gauge, PrintSettings, Machine and Limits. Answers ``report`` (as
    ``meshcheck.report.report_json`` describes) and ``picture`` (SVG). A file that cannot be read is a report with the
    verdict ``rejected``. Raises OSError, and TypeError or ValueError for settings that cannot be.
    """
    report = check_part(
        Path(path).read_bytes(),
        name,
        gauge=Gauge(**_vectors(gauge, "size_max_mm")) if gauge is not None else None,
        settings=PrintSettings(**settings),
        machine=Machine(**machine),
        limits=Limits(**_vectors(limits, "bed_mm")),
        unit=Unit(unit) if unit else None,
    )
    return {"report": report_json(report), "picture": draw(report)}


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
        return {"unknown": rejected.message}
    if isinstance(found, Unknown):
        return {"unknown": found.because}
    some = next(iter(found.values()))
    return {
        "mass_g": some.mass_g + some.support_g + some.raft_brim_g,
        "filament_m": some.filament_m,
        "layers": some.layers,
        "durations_s": {key: value.duration_s for key, value in found.items()},
        "cool_down_s": {key: value.cool_down_s for key, value in found.items()},
    }


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
