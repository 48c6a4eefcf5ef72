"""Merging, welding, turning and counting: what repair does and what it leaves alone."""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from meshcheck.basics import measure
from meshcheck.repair import WELD_REACH, repair
from meshcheck.types import FloatArray, Mesh, MeshRejected, RawMesh, Topology, Unit
from tests.meshcheck.badfiles import corners_of, sphere_corners
from tests.meshcheck.parts import box, random_turn, wheel

MM = Unit.MILLIMETRE


def repaired(corners: FloatArray, part: list[int] | None = None) -> tuple[Mesh, Topology]:
    labels = None if part is None else np.array(part, np.int32)
    return repair(RawMesh(np.asarray(corners, np.float64), "stl-binary", part=labels), MM)


def signed_volume(mesh: Mesh, body: int) -> float:
    a, b, c = np.moveaxis(mesh.corners[mesh.body == body], 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def shell(size: float, at: float, inward: bool = False) -> FloatArray:
    corners = corners_of(box(size, size, size, at=(at, at, at)))
    return corners[:, ::-1] if inward else corners


SHAPES: list[Callable[[], m3.Manifold]] = [
    wheel,
    lambda: wheel(spokes=0),
    lambda: box(1, 2, 3),
    lambda: m3.Manifold.sphere(10, 40),
]


@pytest.mark.parametrize("shape", SHAPES)
def test_counts_agree_with_trimesh(shape: Callable[[], m3.Manifold]) -> None:
    corners = corners_of(shape())
    _, topology = repaired(corners)
    other = trimesh.Trimesh(**trimesh.triangles.to_kwargs(corners))
    other.merge_vertices()
    assert (topology.faces, topology.vertices) == (len(other.faces), len(other.vertices))
    assert topology.watertight == other.is_watertight is True
    assert topology.winding_consistent == other.is_winding_consistent is True
    assert topology.bodies == other.body_count == 1


def test_four_wheels_are_four_bodies() -> None:
    wheels = [wheel().translate((70 * k, 0, 0)) for k in range(4)]
    mesh, topology = repaired(corners_of(*wheels))
    assert (topology.bodies, topology.overlapping_bodies) == (4, False)
    assert [signed_volume(mesh, k) for k in range(4)] == pytest.approx([signed_volume(mesh, 0)] * 4, rel=1e-6)


def test_signed_zeros_are_one_place() -> None:
    corners = corners_of(box(20, 20, 20, at=(-10, 0, 0)))
    corners[::2][corners[::2] == 0] = -0.0
    assert repaired(corners)[1].vertices == 8


def jittered(share: float, seed: int = 1) -> FloatArray:
    """A wheel whose faces each have their own corners, off by up to ``share`` of the diagonal."""
    corners = corners_of(wheel(facets=48))
    diagonal = float(np.linalg.norm(np.ptp(corners.reshape(-1, 3), axis=0)))
    return corners + np.random.default_rng(seed).uniform(-1, 1, corners.shape) * share * diagonal / np.sqrt(12)


def test_open_seams_within_a_millionth_are_welded() -> None:
    mesh, topology = repaired(jittered(0.9 * WELD_REACH))
    exact = repaired(corners_of(wheel(facets=48)))[1]
    assert topology.welded
    assert topology.watertight
    assert (topology.bodies, topology.faces, topology.vertices) == (1, exact.faces, exact.vertices)
    assert len(mesh.vertices) == exact.vertices


def test_touching_bodies_with_open_seams_are_welded_and_told_apart() -> None:
    corners = corners_of(box(20, 20, 20), box(20, 20, 20, at=(20, 20, 0)))
    noise = np.random.default_rng(3).uniform(-1, 1, corners.shape) * 0.2 * WELD_REACH * 20
    _, topology = repaired(corners + noise)
    assert (topology.welded, topology.watertight, topology.bodies, topology.touching_edges) == (True, True, 2, 1)


def test_wider_seams_stay_open_and_are_reported() -> None:
    _, topology = repaired(jittered(100 * WELD_REACH))
    assert not topology.watertight
    assert len(topology.open_edge_faces) == topology.faces


def test_a_closed_mesh_is_never_welded() -> None:
    # a groove narrower than the weld's reach survives because nothing is open
    gap = 1e-6
    corners = corners_of(box(20, 20, 20), box(20, 20, 20, at=(0, 0, 20 + gap)))
    _, topology = repaired(corners)
    assert (topology.welded, topology.bodies, topology.vertices) == (False, 2, 16)


def test_open_faces_are_named() -> None:
    corners = corners_of(box(20, 20, 20))
    _, topology = repaired(corners[1:])
    assert topology.open_edges == 3
    neighbours = {k for k, face in enumerate(corners[1:]) if len(shared(face, corners[0])) == 2}
    assert set(topology.open_edge_faces.tolist()) == neighbours


def shared(face: FloatArray, other: FloatArray) -> set[tuple[float, ...]]:
    return {tuple(corner) for corner in face.tolist()} & {tuple(corner) for corner in other.tolist()}


def test_turned_faces_are_counted_and_not_guessed_at() -> None:
    corners = corners_of(box(20, 20, 20))
    corners[4] = corners[4, ::-1]
    mesh, topology = repaired(corners)
    assert (topology.flipped_edges, topology.turned_bodies, topology.winding_consistent) == (3, 0, False)
    assert np.array_equal(mesh.corners, corners)


def test_thin_faces_on_a_line_stay_because_they_close_the_seam() -> None:
    # a cube whose upper front edge carries an extra corner on one side only, closed by a face without area
    a, b, middle = (0.0, 0.0, 20.0), (20.0, 0.0, 20.0), (10.0, 0.0, 20.0)
    faces = []
    for face in corners_of(box(20, 20, 20)).tolist():
        points = [tuple(corner) for corner in face]
        if a in points and b in points and all(corner[1] == 0 for corner in points):
            k = next(i for i in range(3) if {points[i], points[(i + 1) % 3]} == {a, b})
            p, q, r = points[k], points[(k + 1) % 3], points[(k + 2) % 3]
            faces += [[p, middle, r], [middle, q, r], [q, middle, p]]
        else:
            faces.append(face)
    _, topology = repaired(np.array(faces))
    assert topology.faces == 14
    assert topology.watertight
    assert topology.zero_area_faces == 0


NESTS = [
    # shells as (size, corner, inward), the volume that must come out, how many are turned
    ("outward", [(20, 0, False)], [8000.0], 0),
    ("inward", [(20, 0, True)], [8000.0], 1),
    ("cavity", [(20, 0, False), (10, 5, True)], [8000.0, -1000.0], 0),
    ("cavity, all inside out", [(20, 0, True), (10, 5, False)], [8000.0, -1000.0], 2),
    ("island in a cavity", [(20, 0, False), (10, 5, True), (4, 8, False)], [8000.0, -1000.0, 64.0], 0),
    ("island in a cavity, all inside out", [(20, 0, True), (10, 5, False), (4, 8, True)], [8000.0, -1000.0, 64.0], 3),
    ("inward island in a cavity", [(20, 0, False), (10, 5, True), (4, 8, True)], [8000.0, -1000.0, 64.0], 1),
    ("one of two inward", [(20, 0, False), (20, 30, True)], [8000.0, 8000.0], 1),
    ("two cavities", [(30, 0, False), (5, 5, True), (5, 15, True)], [27000.0, -125.0, -125.0], 0),
    ("inner listed first", [(10, 5, False), (20, 0, True)], [-1000.0, 8000.0], 2),
]


@pytest.mark.parametrize("turned_place", [False, True], ids=["straight", "turned"])
@pytest.mark.parametrize(("shells", "volumes", "turned"), [n[1:] for n in NESTS], ids=[n[0] for n in NESTS])
def test_inside_out_bodies_are_turned_and_cavities_stay(
    shells: list[tuple[float, float, bool]], volumes: list[float], turned: int, turned_place: bool
) -> None:
    corners = np.vstack([shell(*spec) for spec in shells])
    if turned_place:
        corners = corners @ random_turn(np.random.default_rng(7)).T + [31.0, -5.0, 2.0]
    mesh, topology = repaired(corners)
    assert [signed_volume(mesh, k) for k in range(len(shells))] == pytest.approx(volumes)
    assert topology.turned_bodies == turned
    assert not topology.overlapping_bodies


def test_an_inward_shell_across_the_border_is_no_cavity() -> None:
    _, topology = repaired(np.vstack([shell(20, 0), shell(10, 15, inward=True)]))
    assert (topology.turned_bodies, topology.overlapping_bodies) == (1, True)


def test_rings_through_each_other_do_not_overlap() -> None:
    # two links of a chain: their boxes overlap, they do not
    link = trimesh.creation.torus(20, 3, 64, 32)
    other = link.copy()
    other.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    other.apply_translation([20, 0, 0])
    _, topology = repaired(np.vstack([link.triangles, other.triangles]))
    assert (topology.bodies, topology.overlapping_bodies) == (2, False)
    other.apply_translation([18, 0, 0])
    _, topology = repaired(np.vstack([link.triangles, other.triangles]))
    assert topology.overlapping_bodies


TOUCHING = [
    # where the second cube stands, and at how many edges four faces meet
    ("at a face", (20, 0, 0), None),
    ("at a part of a face", (20, 10, 0), 0),
    ("along an edge", (20, 20, 0), 1),
    ("at a corner", (20, 20, 20), 0),
]


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
@pytest.mark.parametrize("inside_out", [False, True], ids=["outward", "inside out"])
@pytest.mark.parametrize(("place", "edges"), [case[1:] for case in TOUCHING], ids=[case[0] for case in TOUCHING])
def test_cubes_that_touch_stay_two_sound_bodies(
    place: tuple[float, float, float], edges: int | None, inside_out: bool, seed: int | None
) -> None:
    corners = corners_of(box(20, 20, 20), box(20, 20, 20, at=place))
    if seed is not None:
        turn = random_turn(np.random.default_rng(seed))
        corners = (corners @ turn.T).astype(np.float32).astype(np.float64)
    mesh, topology = repaired(corners[:, ::-1] if inside_out else corners)
    assert (topology.bodies, topology.watertight, topology.winding_consistent) == (2, True, True)
    assert (topology.overlapping_bodies, topology.turned_bodies) == (False, 2 * inside_out)
    assert [signed_volume(mesh, k) for k in (0, 1)] == pytest.approx([8000, 8000], rel=1e-6)
    if edges is not None:
        assert topology.touching_edges == edges


def test_a_solid_pinched_at_an_edge_is_one_body() -> None:
    # a ring of four boxes in the plane whose corners meet: two diagonal boxes touch along an edge, a bridge joins them
    pinched = box(20, 20, 20) + box(20, 20, 20, at=(20, 20, 0)) + box(40, 40, 5, at=(0, 0, 20))
    mesh, topology = repaired(corners_of(pinched))
    assert (topology.bodies, topology.watertight) == (1, True)
    assert signed_volume(mesh, 0) == pytest.approx(24_000)


def strut(a: tuple[float, float, float], along: int, length: float = 20.0) -> m3.Manifold:
    """An eight-sided bar of radius 3 along an axis."""
    bar = m3.Manifold.cylinder(length, 3, 3, 8)
    turned = {0: bar.rotate((0, 90, 0)), 1: bar.rotate((-90, 0, 0)), 2: bar}[along]
    return turned.translate(a)


def test_bars_that_cross_and_share_corners_are_told_apart_by_their_order_in_the_file() -> None:
    # a frame of twelve bars along the edges of a cube: bars end to end share their caps, and cross others there
    corners = [(x, y, z) for x in (0.0, 20.0) for y in (0.0, 20.0) for z in (0.0, 20.0)]
    bars = [strut(a, k) for a in corners for k in range(3) if a[k] == 0]
    bars += [strut((20.0, 0.0, 0.0), 0)]  # end to end with the first
    mesh, topology = repaired(corners_of(*bars))
    assert (topology.bodies, topology.watertight, topology.winding_consistent) == (13, True, True)
    assert topology.overlapping_bodies
    union = m3.Manifold.batch_boolean(bars, m3.OpType.Add).volume()
    assert measure(mesh, topology).volume_mm3 == pytest.approx(union, rel=1e-6)


def test_two_faces_back_to_back_are_no_body() -> None:
    flap = np.array([[[0, 0, 20], [20, 0, 20], [10, 0, 40]], [[0, 0, 20], [10, 0, 40], [20, 0, 20]]], float)
    _, topology = repaired(np.vstack([corners_of(box(20, 20, 20)), flap]))
    assert (topology.bodies, topology.watertight, topology.faces) == (1, True, 12)


def test_a_surface_that_meets_itself_at_an_edge_is_closed() -> None:
    """Two blocks that touch along one edge, joined by a bow over it: giving the edge's ends corners of their own cannot
    part the two sheets, so the edge is split. The volume is that of the blocks and the bow, by boxes."""
    blocks = box(10, 10, 10) + box(10, 10, 10, at=(10, 10, 0))
    bow = box(20, 20, 5, at=(0, 0, 10)) + box(20, 20, 5, at=(0, 0, -5))
    pinched = corners_of(blocks + bow)
    shuffled = pinched[np.random.default_rng(2).permutation(len(pinched))]
    for corners in (pinched, shuffled):
        mesh, topology = repaired(corners)
        assert (topology.bodies, topology.watertight, topology.winding_consistent) == (1, True, True)
        assert sum(signed_volume(mesh, k) for k in range(topology.bodies)) == pytest.approx(2000 + 2 * 2000)


def test_three_faces_at_an_edge_stay_crowded() -> None:
    fin = np.array([[[0, 0, 20], [20, 0, 20], [10, 0, 40]]], float)
    _, topology = repaired(np.vstack([corners_of(box(20, 20, 20)), fin]))
    assert (topology.crowded_edges, topology.open_edges, topology.watertight) == (1, 2, False)


def test_parts_named_by_the_file_are_kept_apart() -> None:
    corners = corners_of(box(20, 20, 20), box(20, 20, 20, at=(20, 0, 0)))
    _, topology = repaired(corners, part=[0] * 12 + [1] * 12)
    assert (topology.bodies, topology.watertight, topology.twin_faces) == (2, True, 0)


def test_only_faces_without_area_is_flat() -> None:
    with pytest.raises(MeshRejected) as refused:
        repaired(np.ones((4, 3, 3)))
    assert refused.value.code == "flat"


def test_many_shells_in_one_are_nested_quickly_and_rightly() -> None:
    # 300 bubbles in one block; volume = block - bubbles (closed form of boxes)
    block = [shell(100, 0)]
    for k in range(300):
        place = np.array([k % 10, k // 10 % 10, k // 100]) * 9.0 + 5
        block.append(corners_of(box(3, 3, 3))[:, ::-1] + place)
    mesh, topology = repaired(np.vstack(block))
    assert (topology.bodies, topology.turned_bodies, topology.overlapping_bodies) == (301, 0, False)
    assert sum(signed_volume(mesh, k) for k in range(301)) == pytest.approx(1e6 - 300 * 27)


def test_vertices_come_in_millimetres_and_contiguous() -> None:
    mesh, _ = repair(RawMesh(corners_of(box(1, 1, 1)), "obj"), Unit.INCH)
    assert mesh.vertices.max() == pytest.approx(25.4)
    assert (mesh.vertices.dtype, mesh.faces.dtype, mesh.body.dtype) == (np.float64, np.int32, np.int32)
    assert mesh.vertices.flags.c_contiguous
    assert mesh.faces.flags.c_contiguous


def test_a_fan_of_fifty_thousand_about_one_corner_is_linear() -> None:
    # every face of the two caps meets one corner; sorting that corner's edges by comparison would take minutes
    _, topology = repaired(sphere_corners(3, 50_000))
    assert (topology.faces, topology.watertight) == (200_000, True)
