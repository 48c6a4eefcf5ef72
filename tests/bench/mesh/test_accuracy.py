"""How right the measures are, beside their bars: the largest error over the tests' own cases, printed as a table.

Run with ``pytest tests/bench/mesh -s -m bench``. The tests under tests/meshcheck assert these figures one by one, with
the sources of the closed forms; here they are summed up.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
import stl
import trimesh

from meshcheck.basics import measure
from meshcheck.orientation import best_poses
from meshcheck.overhang import overhang
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.types import MeshRejected, RawMesh, Unit, known
from meshcheck.walls import thin_walls
from tests.meshcheck import test_overhang, test_walls
from tests.meshcheck.badfiles import binary_stl, corners_of, every_mesh_file
from tests.meshcheck.badpackages import every_package
from tests.meshcheck.known_parts import KNOWN_PARTS
from tests.meshcheck.parts import Outline, box, mesh_of, moved, random_turn, turn_about_z, wheel
from tests.meshcheck.test_badfiles import forget_peak, peak_now
from tests.meshcheck.test_orientation import MACHINE, SETTINGS, looks_down, within_a_degree

pytestmark = pytest.mark.bench


def tell(what: str, bar: float, measured: float, unit: str) -> None:
    print(f"{what:<58} bar {bar:>9.3g} {unit:<5} measured {measured:>9.3g} {unit:<5} {measured / bar:6.2f} of the bar")


def read_and_repair(data: bytes) -> None:
    try:
        raw = read_mesh(data, "upload")
        measure(*repair(raw, raw.unit or Unit.MILLIMETRE))
    except MeshRejected:
        return


def test_every_defective_file() -> None:
    files = [(file.name, file.make()) for file in (*every_mesh_file(), *every_package())]
    for _, data in files:
        read_and_repair(data)
    slowest, largest = (0.0, ""), (0.0, "")
    for name, data in files:
        forget_peak()
        before, started = peak_now(), time.process_time()
        read_and_repair(data)
        slowest = max(slowest, (time.process_time() - started, name))
        largest = max(largest, ((peak_now() - before) / 1e6, name))
    print(f"\n\n{len(files)} defective and odd files")
    tell(f"slowest ({slowest[1]})", 1.0, slowest[0], "s")
    tell(f"largest growth ({largest[1]})", 200, largest[0], "MB")


def test_basics_beside_two_libraries() -> None:
    rng = np.random.default_rng(0)
    worst = {"volume": 0.0, "centre of mass": 0.0, "inertia": 0.0}
    for seed in range(20):
        shape = wheel(radius=20 + 10 * rng.random(), spokes=3 + seed % 5, facets=32 + 8 * seed)
        corners = corners_of(shape) @ random_turn(rng).T + rng.uniform(-60, 60, 3)
        raw = read_mesh(binary_stl(corners), "wheel.stl")
        ours = measure(*repair(raw, Unit.MILLIMETRE))
        peer = trimesh.Trimesh(**trimesh.triangles.to_kwargs(raw.triangles)).mass_properties
        records = np.zeros(len(corners), stl.mesh.Mesh.dtype)
        records["vectors"] = raw.triangles
        volume, centre, inertia = stl.mesh.Mesh(records).get_mass_properties()
        scale = np.abs(np.array(ours.inertia_mm5)).max()
        for their_volume, their_centre, their_inertia in (
            (peer.volume, peer.center_mass, peer.inertia),
            (volume, centre, inertia),
        ):
            own = (known(ours.volume_mm3) or 0.0, np.array(ours.centre_of_mass_mm), np.array(ours.inertia_mm5))
            worst["volume"] = max(worst["volume"], abs(own[0] / float(their_volume) - 1))
            off = float(np.linalg.norm(own[1] - their_centre) / np.linalg.norm(raw.triangles[0]))
            worst["centre of mass"] = max(worst["centre of mass"], off)
            worst["inertia"] = max(worst["inertia"], float(np.abs(own[2] - their_inertia).max() / scale))
    print("\n\n20 turned wheels beside trimesh and numpy-stl, largest relative difference")
    for what, value in worst.items():
        tell(f"  {what}", 1e-6, value, "")
    cubes = RawMesh(corners_of(box(20, 20, 20), box(20, 20, 20, at=(10, 0, 0))), "stl-binary")
    union = known(measure(*repair(cubes, Unit.MILLIMETRE)).volume_mm3)
    print(f"two overlapping cubes: {union:.6f} mm3, closed form 12000")
    assert union == pytest.approx(12_000, rel=1e-6)


def test_overhang_and_support() -> None:
    area, volume, sphere = 0.0, 0.0, 0.0
    for name, (make, true_area, true_volume, _) in test_overhang.CASES.items():
        for angle in (0, 17, 31.7, 45, 73.1, 90):
            found = overhang(moved(mesh_of(make()), turn_about_z(angle), (31.4, -7.7, 3.3)), watertight=True)
            off = abs(found.overhang_area_mm2 - true_area) / max(true_area, 1.0)
            if name == "sphere":
                sphere = max(sphere, off)
            elif name != "cone 50":
                area = max(area, off)
            volume = max(volume, abs((known(found.volume_mm3) or 0.0) - true_volume) / max(true_volume, 1.0))
    roof = Outline([np.array([[0, 0], [10, 0], [30, 20], [30, 23], [-20, 23], [-20, 20]])])
    solid, rng, flagged = roof.extrude(40).rotate((90, 0, 0)).refine(3), np.random.default_rng(45), 0
    for angle in rng.uniform(0, 360, 200):
        mesh = moved(mesh_of(solid), turn_about_z(angle), tuple(rng.uniform(-200, 200, 3)))
        flagged += overhang(mesh, watertight=True).overhang_area_mm2 > 0
    print("\n\nseven closed forms in six rotations")
    tell("  area of plane cases", 1e-6, area, "")
    tell("  area of the sphere, 2 pi R^2 (1 - cos 45)", 2e-3, sphere, "")
    tell("  volume of support", 5e-3, volume, "")
    print(f"  exactly 45 degrees in 200 random turns: flagged {flagged} times, bar 0")
    assert flagged == 0


def test_thin_walls() -> None:
    worst = (0.0, "")
    rng = np.random.default_rng(1)
    for make in (test_walls.plate, test_walls.tube, test_walls.web, test_walls.dish, test_walls.roof):
        for width in test_walls.WIDTHS:
            upright = mesh_of(make(width))
            for mesh in (
                upright,
                *(moved(upright, random_turn(rng), tuple(rng.normal(size=3) * 50)) for _ in range(3)),
            ):
                thinnest = known(thin_walls(mesh, test_walls.LIMIT_MM).thinnest_mm)
                off = abs(thinnest - width) if thinnest is not None else np.inf
                worst = max(worst, (off, f"{make.__name__} of {width} mm"))
    print("\n\nplates, tubes, webs, dishes, roofs of 0.42 to 3 mm in four poses")
    tell(f"  largest error ({worst[1]})", 0.01, worst[0], "mm")


def test_expected_resting_faces() -> None:
    rng, right, count = np.random.default_rng(23), 0, 0
    for part in KNOWN_PARTS.values():
        mesh = part.make()
        for _ in range(10):
            how = random_turn(rng)
            best = best_poses(moved(mesh, how, tuple(rng.uniform(-100, 100, 3))), SETTINGS, MACHINE)[0]
            right += within_a_degree(looks_down(best, how), part.down)
            count += 1
    print(f"\n\n{len(KNOWN_PARTS)} known parts, ten random turns each")
    tell("  share lying on the expected face (more is better)", 0.95, right / count, "")
