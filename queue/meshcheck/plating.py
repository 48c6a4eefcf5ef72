"""A plate's files read again: its grams and minutes, and the arranged plate as one file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from meshcheck.bodies import union_overlapping
from meshcheck.estimate import estimate_on_each
from meshcheck.export import PlacedMesh, stl_bytes, threemf_bytes
from meshcheck.orientation import Rotation, turned
from meshcheck.overhang import bed_slack_mm, overhang
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.types import Estimate, Machine, Mesh, PrintSettings, Support, Unit, Unknown


@dataclass(frozen=True, slots=True)
class PlacedFile:
    """One copy on a plate: the stored file, the unit to read it in, and where the middle of its box lies."""

    path: str
    name: str
    unit: Unit | None  # None: as the file says, else millimetres
    x_mm: float
    y_mm: float
    turn_deg: float
    pose: Rotation | None = None  # how it is laid before it is placed; None: as it is drawn


def placed_file(values: Mapping[str, Any]) -> PlacedFile:
    """A PlacedFile from plain values. Raises KeyError or ValueError when one is missing or wrong."""
    return PlacedFile(
        path=str(values["path"]),
        name=str(values["name"]),
        unit=Unit(values["unit"]) if values.get("unit") else None,
        x_mm=float(values["x_mm"]),
        y_mm=float(values["y_mm"]),
        turn_deg=float(values.get("turn_deg", 0.0)),
        pose=rotation_of(values["pose"]) if values.get("pose") else None,
    )


def rotation_of(rows: Sequence[Sequence[float]]) -> Rotation:
    """A rotation from plain rows. Raises ValueError for anything that would bend or mirror a part."""
    matrix = np.array(rows, dtype=np.float64)
    if matrix.shape != (3, 3) or not np.allclose(matrix @ matrix.T, np.eye(3), atol=1e-9):
        raise ValueError("a pose is a 3 x 3 rotation")
    if np.linalg.det(matrix) < 0:
        raise ValueError("a pose must not mirror the part")
    first, second, third = ((float(x), float(y), float(z)) for x, y, z in matrix)
    return (first, second, third)


def read_solid(path: str, name: str, unit: Unit | None, pose: Rotation | None = None) -> tuple[Mesh, bool]:
    """A stored file as one clean mesh, laid as wished, and whether it is closed. Raises MeshRejected and OSError."""
    raw = read_mesh(Path(path).read_bytes(), name)
    mesh, topology = repair(raw, unit or raw.unit or Unit.MILLIMETRE)
    if pose is not None:
        mesh = turned(mesh, pose)
    if topology.overlapping_bodies:
        joined = union_overlapping(mesh, topology)
        if not isinstance(joined, Unknown):
            mesh = joined
    return mesh, topology.watertight and topology.winding_consistent


class _Files:
    """Each file is read once, however many copies of it lie on the plate."""

    def __init__(self) -> None:
        self._read: dict[tuple[str, Unit | None, Rotation | None], tuple[Mesh, bool]] = {}
        self._support: dict[tuple[str, Unit | None, Rotation | None, float, float], Support] = {}

    def mesh(self, file: PlacedFile) -> Mesh:
        return self._solid(file)[0]

    def support(self, file: PlacedFile, settings: PrintSettings) -> Support:
        limit_deg, bed_mm = settings.overhang_limit_deg, bed_slack_mm(settings, file.pose is not None)
        key = (file.path, file.unit, file.pose, limit_deg, bed_mm)
        if key not in self._support:
            mesh, closed = self._solid(file)
            self._support[key] = overhang(mesh, limit_deg, watertight=closed, bed_mm=bed_mm)
        return self._support[key]

    def _solid(self, file: PlacedFile) -> tuple[Mesh, bool]:
        key = (file.path, file.unit, file.pose)
        if key not in self._read:
            self._read[key] = read_solid(file.path, file.name, file.unit, file.pose)
        return self._read[key]


def placed_meshes(
    files: Sequence[PlacedFile], settings: PrintSettings
) -> tuple[list[tuple[Mesh, float, float, float]], list[Support]]:
    """Mesh, x_mm, y_mm, turn_deg and the support of every copy. Copies of one file share their mesh and support.
    Raises MeshRejected and OSError."""
    read = _Files()
    placed = [(read.mesh(file), file.x_mm, file.y_mm, file.turn_deg) for file in files]
    return placed, [read.support(file, settings) for file in files]


def estimate_files(
    files: Sequence[PlacedFile], settings: PrintSettings, machines: Mapping[str, Machine]
) -> dict[str, Estimate] | Unknown:
    """The plate's estimate on each kind of machine, by the key given. Raises MeshRejected and OSError."""
    placed, supports = placed_meshes(files, settings)
    return estimate_on_each(placed, settings, machines, supports)


def arranged(files: Sequence[PlacedFile], kind: Literal["stl", "3mf"], title: str) -> bytes:
    """The plate as one file, every copy in its place. Raises MeshRejected and OSError."""
    read = _Files()
    placed = [PlacedMesh(read.mesh(file), file.x_mm, file.y_mm, file.turn_deg, file.name) for file in files]
    return threemf_bytes(placed, title) if kind == "3mf" else stl_bytes(placed)
