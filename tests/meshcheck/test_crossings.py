"""A skin that passes through itself: found, measured, and counted as it prints.

Closed forms stand beside the cases. The second method is a brute-force comparison of all pairs of faces by another
formula (where sides pierce faces, by barycentric coordinates), and manifold3d's union of the same solids.
"""

from __future__ import annotations

import time

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from meshcheck.check import check_part
from meshcheck.crossings import find_crossings
from meshcheck.report import report_json
from meshcheck.types import FloatArray, Level, Mesh, PrintSettings, Report, Unknown
from tests.meshcheck.badfiles import binary_stl, sphere_corners

from .known_parts import KNOWN_PARTS
from .parts import Outline, Solid, box, disc, mesh_of, moved, random_turn, wheel


def one_body(*solids: m3.Manifold) -> Mesh:
    """All faces as if they were one body's."""
    mesh = mesh_of(*solids)
    return Mesh(mesh.vertices, mesh.faces, np.zeros(len(mesh.faces), np.int32))


def band(points: list[tuple[float, float]], width: float, height: float) -> FloatArray:
    """Corners (n, 3, 3) of a bar of constant width along a path in the plane, in one closed skin however the path
    crosses itself. Turns of the path are right angles, mitred."""
    path = np.array(points, float)
    along = np.diff(path, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    left = np.column_stack([-along[:, 1], along[:, 0]]) * width / 2
    offset = np.vstack([left[:1], left[1:] + left[:-1], left[-1:]])
    sides = np.stack([path + offset, path - offset], axis=1)  # (k, 2, 2)
    corner = lambda k, side, up: [*sides[k, side], height * up]  # noqa: E731
    faces: list[list[list[float]]] = []

    def quad(a: list[float], b: list[float], c: list[float], d: list[float]) -> None:
        faces.extend(([a, b, c], [a, c, d]))

    for k in range(len(path) - 1):
        quad(corner(k, 1, 1), corner(k + 1, 1, 1), corner(k + 1, 0, 1), corner(k, 0, 1))
        quad(corner(k, 0, 0), corner(k + 1, 0, 0), corner(k + 1, 1, 0), corner(k, 1, 0))
        quad(corner(k, 1, 0), corner(k + 1, 1, 0), corner(k + 1, 1, 1), corner(k, 1, 1))
        quad(corner(k + 1, 0, 0), corner(k, 0, 0), corner(k, 0, 1), corner(k + 1, 0, 1))
    end = len(path) - 1
    quad(corner(0, 0, 0), corner(0, 1, 0), corner(0, 1, 1), corner(0, 0, 1))
    quad(corner(end, 1, 0), corner(end, 0, 0), corner(end, 0, 1), corner(end, 1, 1))
    return np.array(faces)


LOOP = [(0.0, 0.0), (60.0, 0.0), (60.0, 40.0), (30.0, 40.0), (30.0, -25.0)]
WIDTH, HEIGHT = 6.0, 9.0
# The middle lines are 60 + 40 + 30 + 65 mm; mitred corners keep area = width x length. One square is covered twice.
LENGTH, TWICE = 195.0, WIDTH * WIDTH * HEIGHT


def check(corners: FloatArray, **options: object) -> Report:
    return check_part(binary_stl(corners), "part.stl", **options)  # type: ignore[arg-type]


def told(report: Report) -> dict[str, str]:
    return {finding.code: finding.figure for finding in report.findings}


@pytest.mark.parametrize("seed", [None, 1, 2, 3, 4])
def test_a_bar_through_itself(seed: int | None) -> None:
    corners = band(LOOP, WIDTH, HEIGHT)
    if seed is not None:
        corners = corners @ random_turn(np.random.default_rng(seed)).T + [11.0, -7.0, 3.0]
    report = check(corners)
    assert report.topology is not None
    assert (report.topology.bodies, report.topology.watertight, report.topology.overlapping_bodies) == (1, True, False)
    assert report.basics is not None
    assert report.basics.volume_mm3 == pytest.approx(WIDTH * HEIGHT * LENGTH - TWICE, rel=3e-4)
    assert report.basics.doubled_mm3 == pytest.approx(TWICE, rel=0.01)
    assert report.basics.inverted_mm3 == 0
    assert report.crossings is not None
    # four upright lines where the walls cut each other; floors and lids only lie in one plane
    assert report.crossings.length_mm == pytest.approx(4 * HEIGHT, rel=1e-4)
    assert "skin_crosses" in told(report)
    assert report_json(report)["self_crossing"]["length_mm"] == pytest.approx(36, abs=0.01)


def test_its_centre_and_inertia_are_those_of_the_union() -> None:
    # the same bar as straight pieces joined by manifold3d
    pieces = [
        box(63, 6, 9, (0, -3, 0)),
        box(6, 46, 9, (57, -3, 0)),
        box(36, 6, 9, (27, 37, 0)),
        box(6, 68, 9, (27, -25, 0)),
    ]
    joined = mesh_of(m3.Manifold.batch_boolean(pieces, m3.OpType.Add))
    peer = trimesh.Trimesh(joined.vertices, joined.faces)
    basics = check(band(LOOP, WIDTH, HEIGHT)).basics
    assert basics is not None
    assert basics.volume_mm3 == pytest.approx(peer.volume, rel=3e-4)
    assert basics.centre_of_mass_mm == pytest.approx(tuple(peer.center_mass), abs=0.01)
    inertia = np.array(basics.inertia_mm5)
    assert inertia == pytest.approx(peer.moment_inertia, abs=1e-3 * np.abs(inertia).max())


def test_grams_are_those_of_the_union_too() -> None:
    report = check(band(LOOP, WIDTH, HEIGHT), settings=PrintSettings(infill_share=1.0))
    assert not isinstance(report.estimate, Unknown)
    assert report.estimate.mass_g == pytest.approx((WIDTH * HEIGHT * LENGTH - TWICE) * 1.24e-3, rel=2e-3)


def test_a_spindle_torus_has_a_hollow_where_it_meets_itself() -> None:
    # R 10, r 14 (FACTS 7, row tor: 2 pi^2 R r^2). By Pappus the lemon inside counts against the apple: it is left empty
    torus = trimesh.creation.torus(10, 14, major_sections=256, minor_sections=255)
    basics = check(np.asarray(torus.triangles)).basics
    assert basics is not None
    assert (basics.doubled_mm3, basics.inverted_mm3) == (0, 0)
    assert basics.volume_mm3 == pytest.approx(2 * np.pi**2 * 10 * 14**2, rel=1e-3)


def test_a_twisted_outline_has_a_part_that_is_inside_out() -> None:
    # a bow tie: two triangles of 20 x 10, one of them run round the wrong way; each holds 100 mm2
    outline = np.array([[-20.0, -10], [20, 10], [20, -10], [-20, 10]])
    rising = np.column_stack([outline, np.zeros(4)]), np.column_stack([outline, np.full(4, 8.0)])
    (a, b, c, d), (p, q, r, s) = rising
    sides = [[a, b, q], [a, q, p], [b, c, r], [b, r, q], [c, d, s], [c, s, r], [d, a, p], [d, p, s]]
    middle, above = np.zeros(3), np.array([0.0, 0, 8])
    floor = [[k, middle, n] for k, n in ((b, c), (d, a), (a, b), (c, d))]
    lid = [[above, k, n] for k, n in ((q, r), (s, p), (p, q), (r, s))]
    faces = np.array(sides + [[f[1], f[0], f[2]] for f in floor] + lid)
    faces[8:12] = faces[8:12][:, ::-1]
    report = check(faces)
    assert report.topology is not None
    assert report.topology.watertight
    assert "partly_inside_out" in told(report)
    assert report.basics is not None
    assert report.basics.inverted_mm3 == pytest.approx(200 * 8, rel=0.01)


def test_the_length_of_a_crossing_is_exact() -> None:
    # two cubes of 20, one moved by (10, 7, 5): their skins cut each other along a closed line, twice 10 + 13 + 15
    cubes = one_body(box(20, 20, 20), box(20, 20, 20, (10, 7, 5)))
    for seed in range(5):
        turn = random_turn(np.random.default_rng(seed)) if seed else None
        found = find_crossings(moved(cubes, turn, (3, 1, 8)))
        assert found.length_mm == pytest.approx(76, abs=1e-3)
        assert found.complete
        assert found.place_mm is not None


def pierced(mesh: Mesh) -> set[int]:
    """Faces that a side of another face pierces, or whose side pierces another: all pairs, by barycentric
    coordinates (Moeller and Trumbore 1997, written from memory)."""
    corners = mesh.corners
    a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    scale = np.linalg.norm(np.cross(u, v), axis=1)
    found: set[int] = set()
    for k in range(len(corners)):
        for m in range(3):
            start, way = corners[k, m], corners[k, (m + 1) % 3] - corners[k, m]
            across = np.cross(way, v)
            det = np.einsum("ij,ij->i", u, across)
            with np.errstate(divide="ignore", invalid="ignore"):  # faces the side lies in
                s = np.einsum("ij,ij->i", start - a, across) / det
                q = np.cross(start - a, u)
                t = q @ way / det
                at = np.einsum("ij,ij->i", v, q) / det
                hit = (
                    (np.abs(det) > 1e-6 * scale * np.linalg.norm(way))
                    & (s > 1e-9)
                    & (t > 1e-9)
                    & (s + t < 1 - 1e-9)
                    & (at > 1e-9)
                    & (at < 1 - 1e-9)
                )
            hit[k] = False
            found |= set(np.flatnonzero(hit).tolist()) | ({k} if hit.any() else set())
    return found


@pytest.mark.parametrize("seed", range(12))
def test_brute_force_finds_the_same_faces(seed: int) -> None:
    rng = np.random.default_rng(seed)
    solids = [
        Solid.sphere(10, 16).rotate(tuple(rng.uniform(0, 360, 3))),
        box(12, 15, 18).rotate(tuple(rng.uniform(0, 360, 3))).translate(tuple(rng.uniform(-6, 6, 3))),
        Solid.cylinder(20, 4, 7, 20).rotate(tuple(rng.uniform(0, 360, 3))).translate(tuple(rng.uniform(-6, 6, 3))),
    ]
    mesh = one_body(*solids)
    assert set(find_crossings(mesh).faces.tolist()) == pierced(mesh)


SOUND = {
    **{name: part.make for name, part in KNOWN_PARTS.items()},
    "ball": lambda: mesh_of(Solid.sphere(15, 96)),
    "fan of 20,000 about one point": lambda: mesh_of(disc(20, 100, 20_000)),
    "saddle": lambda: mesh_of(Solid.revolve(Outline([[(4, 0), (12, 0), (5, 10), (12, 20), (4, 20)]]), 64)),
    "touching along an edge": lambda: one_body(box(10, 10, 10), box(10, 10, 10, (10, 10, 0))),
    "touching at a face": lambda: one_body(box(10, 10, 10), box(10, 10, 10, (10, 3, 2))),
    "touching at a corner": lambda: one_body(box(10, 10, 10), box(10, 10, 10, (10, 10, 10))),
}


@pytest.mark.parametrize("name", SOUND)
def test_sound_parts_do_not_cross(name: str) -> None:
    mesh = SOUND[name]()
    rng = np.random.default_rng(6)
    for turn in (None, random_turn(rng), random_turn(rng)):
        found = find_crossings(moved(mesh, turn))
        assert (len(found.faces), found.length_mm, found.complete) == (0, 0.0, True)


def test_two_bodies_are_not_compared() -> None:
    assert find_crossings(mesh_of(box(20, 20, 20), box(20, 20, 20, (10, 7, 5)))).length_mm == 0


def test_text_with_two_decimals_touches_and_does_not_cross() -> None:
    mesh = moved(mesh_of(wheel(facets=96)), random_turn(np.random.default_rng(2)))
    rounded = Mesh(np.round(mesh.vertices, 2), mesh.faces, mesh.body)
    assert find_crossings(rounded).length_mm == 0


def test_exact_figures_stay_exact_without_doubled_room() -> None:
    report = check(mesh_of(wheel()).corners)
    assert report.basics is not None
    assert (report.basics.doubled_mm3, report.basics.inverted_mm3) == (0, 0)


def test_a_hair_is_only_noted() -> None:
    # two towers whose faces lean into each other by 0.02 mm over their upper half: 10 * 2 * 0.02 / 2 = 0.2 mm3
    left = [[(5, 2), (14.99, 2), (15.01, 6), (5, 6)]]
    right = [[(15.01, 2), (25, 2), (25, 6), (14.99, 6)]]
    extruded = [Outline(o).extrude(10).rotate((90, 0, 0)).translate((0, 10, 0)) for o in (left, right)]
    leaning = moved(one_body(*extruded), random_turn(np.random.default_rng(9)))
    assert find_crossings(leaning).length_mm == pytest.approx(10, abs=1e-3)


def test_the_search_is_bounded_and_says_so() -> None:
    # 20,000 needles through one another: 200 million pairs
    rng = np.random.default_rng(1)
    way = rng.normal(size=(20_000, 1, 3))
    needles = np.concatenate([way * 30, -way * 30, -way * 30 + rng.normal(size=(20_000, 1, 3)) * 0.02], axis=1)
    mesh = Mesh(needles.reshape(-1, 3), np.arange(60_000, dtype=np.int32).reshape(-1, 3), np.zeros(20_000, np.int32))
    find_crossings(one_body(box(1, 1, 1)))
    started = time.process_time()
    found = find_crossings(mesh)
    assert time.process_time() - started < 10
    assert not found.complete


def test_half_a_million_faces_are_searched_to_the_end() -> None:
    corners = sphere_corners(401, 600)
    mesh = Mesh(
        corners.reshape(-1, 3),
        np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3),
        np.zeros(len(corners), np.int32),
    )
    assert find_crossings(mesh).complete


def test_the_words() -> None:
    report = check(band(LOOP, WIDTH, HEIGHT))
    finding = next(f for f in report.findings if f.code == "skin_crosses")
    assert finding.level is Level.ADVICE
    assert finding.figure.startswith("36 mm of crossing, near x ")
    assert finding.figure.endswith("; 324 mm³ were drawn twice")
