"""Run every compiled kernel of the package once on small real parts, so that the first check need not wait for it.

Numba keeps the compiled code on disk; only the very first time takes long. Each step runs a public function on parts
that take the way a kernel lies on: a wheel in every format, bodies that touch, enclose each other or have loose seams.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
from manifold3d import CrossSection, Manifold

from meshcheck.basics import measure
from meshcheck.check import check_part
from meshcheck.estimate import estimate
from meshcheck.export import PlacedMesh, stl_bytes, threemf_bytes
from meshcheck.footprint import footprint
from meshcheck.gcode.dialect import DIALECTS
from meshcheck.gcode.reader import read_gcode
from meshcheck.holes import find_holes
from meshcheck.hub_region import hub_deviation, kit_hub
from meshcheck.materials import MATERIALS
from meshcheck.overhang import overhang
from meshcheck.picture import draw
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.shown.make import shown
from meshcheck.types import FloatArray, Gauge, Machine, Mesh, PrintSettings, RawMesh, Topology, Unit
from meshcheck.walls import thin_walls


def kernels() -> Sequence[tuple[str, Callable[[], None]]]:
    """Named steps, in the order of a check; each compiles what the ones before have not. None takes any argument."""
    return (
        ("reading files", _read_files),
        ("joining corners and counting bodies", _repair),
        ("size and mass", _measure),
        ("holes", _holes),
        ("the hub beside the kit's", _hub),
        ("undersides and support", _undersides),
        ("thin walls", _walls),
        ("layers, grams and minutes", _estimate),
        ("footprint", _footprint),
        ("files of machine words", _gcode),
        ("a whole check and its pictures", _check),
    )


@cache
def _wheel() -> Mesh:
    """A small spoked wheel with a hub wider than its rim, so that it has undersides; 20 mm across."""
    arms = CrossSection()
    for k in range(3):
        arms = arms + CrossSection.square((9, 2)).translate((0, -1)).rotate(120 * k)
    rim = CrossSection.circle(10, 24) - CrossSection.circle(8, 24)
    body = (rim + arms).extrude(4).translate((0, 0, 1)) + CrossSection.circle(4, 24).extrude(6)
    return _mesh(body - CrossSection.circle(1.6, 24).extrude(8).translate((0, 0, -1)))


def _mesh(solid: Manifold) -> Mesh:
    made = solid.to_mesh()
    faces = np.asarray(made.tri_verts).astype(np.int32)
    return Mesh(np.asarray(made.vert_properties)[:, :3].astype(np.float64), faces, np.zeros(len(faces), np.int32))


def _raw(*triangles: FloatArray) -> RawMesh:
    return RawMesh(np.concatenate(triangles), "stl-binary")


@cache
def _repaired() -> tuple[Mesh, Topology]:
    return repair(_raw(_wheel().corners), Unit.MILLIMETRE)


def _read_files() -> None:
    wheel = _wheel()
    placed = [PlacedMesh(wheel, 0.0, 0.0)]
    facets = "".join(
        "facet normal 0 0 1\nouter loop\n"
        + "".join(f"vertex {x} {y} {z:.6e}\n" for x, y, z in corners)
        + "endloop\nendfacet\n"
        for corners in wheel.corners
    )
    lines = [f"v {x} {y} {z}" for x, y, z in wheel.vertices] + [f"f {a} {b} {c}" for a, b, c in wheel.faces + 1]
    read_mesh(stl_bytes(placed), "wheel.stl")
    read_mesh(f"solid wheel\n{facets}endsolid wheel\n".encode(), "wheel.stl")
    read_mesh("\n".join(lines).encode(), "wheel.obj")
    read_mesh(threemf_bytes(placed, "wheel"), "wheel.3mf")


def _repair() -> None:
    cube = _mesh(Manifold.cube((10, 10, 10))).corners
    loose = cube.copy()
    loose[0] += 1e-6  # a seam left open by rounding
    for raw in (
        _raw(cube, cube + np.array([10, 10, 0])),  # touch along an edge
        _raw(np.stack([cube, cube + np.array([10, 10, 0])], axis=1).reshape(-1, 3, 3)),  # the same, faces in turn
        _raw(cube, (cube * 0.5 + 2.5)[:, ::-1]),  # a cavity
        _raw(cube, cube + 5),  # overlap
        _raw(loose),
    ):
        repair(raw, Unit.MILLIMETRE)
    _repaired()


def _measure() -> None:
    measure(*_repaired())


def _holes() -> None:
    find_holes(_repaired()[0])
    flattened = CrossSection.circle(1.6, 24) ^ CrossSection.square((4, 4)).translate((-2, -1.2))
    for bore in (flattened, CrossSection.circle(2, 3)):  # one of no usual shape goes through every fall-back
        find_holes(_mesh((CrossSection.circle(8, 24) - bore).extrude(5)))


def _hub() -> None:
    wheel = _repaired()[0]
    hole = find_holes(wheel)[0]
    hub_deviation(wheel, hole, kit_hub(wheel, hole))


def _undersides() -> None:
    overhang(_repaired()[0], watertight=True)


def _walls() -> None:
    thin_walls(_repaired()[0], 0.84)


def _estimate() -> None:
    wheel = _repaired()[0]
    support = overhang(wheel, watertight=True)
    # wide lines leave places too narrow for the second wall
    settings = PrintSettings(raft_layers=1, brim_lines=1, support="on", line_width_mm=0.55)
    estimate(wheel, settings, Machine(), support)


def _footprint() -> None:
    footprint(_repaired()[0])


def _gcode() -> None:
    words = b"G28\nM104 S210\nG1 X10 Y5 E1 F1800\nG2 X20 I5 J0 E2\nG4 P5\n"
    read_gcode(words, DIALECTS["printer-ms"], Machine(), MATERIALS["PLA"])


def _check() -> None:
    report = check_part(stl_bytes([PlacedMesh(_wheel(), 0.0, 0.0)]), "wheel.stl", gauge=Gauge(hole_diameter_mm=3.2))
    draw(report)
    shown(report)
