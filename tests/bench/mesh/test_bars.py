"""What measuring a part costs, beside its bars and beside the plain pipeline in the same run. Prints; never gates on a
clock. What both measure must agree: that is asserted.

Run with ``pytest tests/bench/mesh -s -m bench``. CPU seconds, best of several; the first call, which loads compiled
code, is left out.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import lessons.parts
import meshcheck
from meshcheck.basics import measure
from meshcheck.check import check_part
from meshcheck.crossings import find_crossings
from meshcheck.edges import edge_table
from meshcheck.estimate import estimate
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.features import small_features
from meshcheck.holes import find_holes
from meshcheck.orientation import best_poses
from meshcheck.overhang import overhang
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.types import Gauge, Machine, Mesh, PrintSettings, Report, Unit, Unknown
from meshcheck.walls import thin_walls
from tests.meshcheck.parts import Outline, Solid, mesh_of, wheel

from .peer import plain_check

pytestmark = pytest.mark.bench

SETTINGS, MACHINE, GAUGE = PrintSettings(), Machine(), Gauge(hole_diameter_mm=3.2, through=True)


def wheel_2k() -> Mesh:
    """The kit's starting wheel: 2,038 triangles."""
    vertices, faces = lessons.parts.wheel()
    return Mesh(vertices, faces, np.zeros(len(faces), np.int32))


def wheel_200k() -> Mesh:
    """A wheel with a tyre of round section, whose hub stands out on one side: needs support, 200,000 triangles."""
    tyre = Solid.revolve(Outline.circle(8, 224).translate((30, 0)), 608).translate((0, 0, 10))
    return mesh_of(wheel(40, 20, 3.2, spokes=5, facets=256, hub_width=26) + tyre)


def best_s(work: Callable[[], object], runs: int) -> float:
    work()
    spent = []
    for _ in range(runs):
        started = time.process_time()
        work()
        spent.append(time.process_time() - started)
    return min(spent)


def tell(what: str, bar_s: float | None, measured_s: float) -> None:
    bar = f"{bar_s * 1e3:8.0f} ms" if bar_s else "        none"
    ratio = f"{measured_s / bar_s:6.2f} of the bar" if bar_s else ""
    print(f"{what:<44} bar {bar}   measured {measured_s * 1e3:8.1f} ms   {ratio}")


# part: how many runs, bar of the whole check, bars of its steps (None: no bar of its own)
PARTS: dict[str, tuple[Callable[[], Mesh], int, float, dict[str, float | None]]] = {
    "wheel": (wheel_2k, 7, 0.15, {"walls": 0.050, "holes": 0.030}),
    "200k part": (wheel_200k, 2, 3.0, {"walls": 0.300, "holes": 0.500, "overhang": 0.100}),
}


@pytest.mark.parametrize("name", PARTS)
def test_the_whole_check_and_its_steps(name: str) -> None:
    make, runs, whole_s, bars = PARTS[name]
    mesh = make()
    data = stl_bytes([PlacedMesh(mesh, 0, 0)])
    print(f"\n\n{name}: {len(mesh.faces):,} triangles, {len(data) / 1e6:.1f} MB")
    tell("whole check", whole_s, best_s(lambda: check(data), runs))
    raw = read_mesh(data, "part.stl")
    solid, topology = repair(raw, Unit.MILLIMETRE)
    edges = edge_table(solid)
    support = overhang(solid, watertight=True)
    steps: dict[str, Callable[[], object]] = {
        "reading": lambda: read_mesh(data, "part.stl"),
        "repair": lambda: repair(raw, Unit.MILLIMETRE),
        "basics": lambda: measure(solid, topology),
        "overhang": lambda: overhang(solid, watertight=True),
        "walls": lambda: thin_walls(solid, 2 * SETTINGS.line_width_mm),
        "holes": lambda: find_holes(solid),
        "skin through itself": lambda: find_crossings(solid),
        "small features": lambda: small_features(solid, edges, ()),
        "resting faces with prices": lambda: best_poses(solid, SETTINGS, MACHINE),
        "estimate": lambda: estimate(solid, SETTINGS, MACHINE, support),
    }
    for step, work in steps.items():
        tell(f"  {step}", bars.get(step), best_s(work, runs))


def check(data: bytes) -> Report:
    return check_part(data, "part.stl", gauge=GAUGE, settings=SETTINGS, machine=MACHINE)


@pytest.mark.parametrize("name", PARTS)
def test_beside_the_plain_pipeline(name: str) -> None:
    make, runs, _, _ = PARTS[name]
    data = stl_bytes([PlacedMesh(make(), 0, 0)])
    started = time.process_time()
    plain = plain_check(data, SETTINGS, MACHINE)
    theirs = time.process_time() - started
    ours = best_s(lambda: check(data), runs)
    print(f"\n\n{name}: plain pipeline {theirs:.2f} s, check {ours * 1e3:.0f} ms: {theirs / ours:.0f} x (bar 5 x)")
    report = check(data)
    assert report.basics is not None
    assert report.support is not None
    assert report.topology is not None
    assert not isinstance(report.estimate, Unknown)
    assert plain.closed
    assert plain.bodies == report.topology.bodies
    assert plain.volume_mm3 == pytest.approx(report.basics.volume_mm3, rel=1e-6)
    assert plain.area_mm2 == pytest.approx(report.basics.area_mm2, rel=1e-6)
    assert plain.overhang_mm2 == pytest.approx(report.support.overhang_area_mm2, rel=1e-3)
    assert plain.support_mm3 == pytest.approx(report.support.volume_mm3, rel=0.01)
    assert plain.holes_mm[0] == pytest.approx(3.2, abs=0.01)
    assert not plain.thin
    assert plain.mass_g == pytest.approx(report.estimate.used_g, rel=0.1)
    print(
        f"  grams {plain.mass_g:.2f} and {report.estimate.used_g:.2f}; minutes {plain.duration_s / 60:.0f} at full "
        f"speed and {report.estimate.duration_s / 60:.0f} with the motion of the machine"
    )


MEMORY = """
import sys
from pathlib import Path
from meshcheck.warmup import kernels
from meshcheck.check import check_part
from meshcheck.report import report_json
def megabytes(what):  # of this process alone: getrusage also remembers the one it was started from
    line = next(line for line in open("/proc/self/status") if line.startswith(what))
    return int(line.split()[1]) / 1e3
for _, run in kernels():
    run()
data = Path(sys.argv[1]).read_bytes()
before = megabytes("VmRSS")
report = check_part(data, "part.stl")
report_json(report)
print(report.topology.faces, before, megabytes("VmHWM"))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_memory_of_half_a_million_triangles(tmp_path: Path) -> None:
    """A process of its own with everything loaded and warm; growth up to the peak while it checks and reports."""
    tyre = Solid.revolve(Outline.circle(8, 400).translate((30, 0)), 850).translate((0, 0, 10))
    part = mesh_of(wheel(40, 20, 3.2, spokes=5, facets=256, hub_width=26) + tyre)
    file = tmp_path / "part.stl"
    file.write_bytes(stl_bytes([PlacedMesh(part, 0, 0)]))
    done = subprocess.run(
        [sys.executable, "-c", MEMORY, str(file)], capture_output=True, text=True, timeout=600, check=False,
        env={"PYTHONPATH": str(Path(meshcheck.__file__).parents[1]), "PATH": ""},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    faces, before, peak = (float(word) for word in done.stdout.split())
    assert 400_000 < faces <= 500_000
    print(f"\n\n{faces:,.0f} triangles: bar 500 MB   growth {peak - before:.0f} MB   {(peak - before) / 500:.2f} of it")
