"""Layers and what is in them, against closed forms (derivation beside each) and shapely's distances."""

import math

import numpy as np
import pytest
import shapely
import trimesh

from meshcheck.layers.cut import cut
from meshcheck.layers.shapes import THINNING_MM, part_shapes
from meshcheck.layers.stack import stack_for
from meshcheck.layers.thin import contour_areas, thin
from meshcheck.types import Mesh, PrintSettings
from tests.meshcheck.parts import Outline, Solid, box, disc, drilled, mesh_of

WIDTH = PrintSettings().line_width_mm
LAYER = PrintSettings().layer_height_mm


def from_trimesh(shape: trimesh.Trimesh) -> Mesh:
    faces = np.asarray(shape.faces, np.int32)
    return Mesh(np.asarray(shape.vertices, np.float64), faces, np.zeros(len(faces), np.int32))


@pytest.mark.parametrize(
    ("height_mm", "first_mm", "layers", "top_mm"),
    [
        (20.0, 0.2, 100, 0.2),
        (20.0, 0.3, 100, 0.1),  # 0.3 + 98.5 layers of 0.2: the half is rounded up
        (20.1, 0.2, 101, 0.1),
        (20.05, 0.2, 100, 0.25),
        (0.05, 0.2, 1, 0.05),
        (0.31, 0.3, 1, 0.31),
    ],
)
def test_layers_reach_from_bed_to_top(height_mm: float, first_mm: float, layers: int, top_mm: float) -> None:
    stack = stack_for(height_mm, PrintSettings(first_layer_mm=first_mm))
    assert len(stack) == layers
    assert stack.thickness_mm.sum() == pytest.approx(height_mm)
    assert stack.thickness_mm[-1] == pytest.approx(top_mm)
    assert stack.printed_mm[0] == first_mm
    assert (stack.middle_mm > stack.bottom_mm).all()
    if layers > 1:
        assert stack.thickness_mm[0] == pytest.approx(first_mm)


def test_on_a_raft_the_part_starts_with_an_ordinary_layer() -> None:
    assert stack_for(20.0, PrintSettings(first_layer_mm=0.3, raft_layers=2)).printed_mm[0] == LAYER


def test_thinned_contours_stay_within_the_tolerance() -> None:
    layers = cut(from_trimesh(trimesh.creation.icosphere(5, 30.0)), [-20.0, 0.1, 25.0])
    points, starts = thin(layers.points_mm, layers.starts, THINNING_MM)
    assert len(points) < len(layers.points_mm) / 3
    for i in range(3):
        exact = shapely.LinearRing(layers.points_mm[layers.starts[i] : layers.starts[i + 1]])
        thinned = shapely.LinearRing(points[starts[i] : starts[i + 1]])
        assert exact.hausdorff_distance(thinned) <= THINNING_MM + 1e-9


def test_thinning_keeps_corners_and_drops_what_has_no_area() -> None:
    square = np.array([[5, 0], [10, 0], [10, 10], [4, 10], [0, 10], [0, 3], [0, 0]], float)
    needle = np.array([[20, 0], [30, 0], [25, 0]], float)
    dust = np.array([[40, 0], [40.001, 0], [40, 0.001]], float)
    points, starts = thin(np.vstack([square, needle, dust]), np.array([0, 7, 10, 13]), THINNING_MM)
    assert points[: starts[1]].tolist() == [[0, 0], [10, 0], [10, 10], [0, 10]]
    assert starts[2] == starts[1]
    # a shape smaller than the tolerance is kept as it is
    assert contour_areas(points, starts) == pytest.approx([100.0, 0.0, 5e-7])


def test_the_layers_of_an_upright_wall_are_worked_out_once() -> None:
    assert len(part_shapes(mesh_of(disc(15, 8)), PrintSettings()).outlines) == 1
    stepped = part_shapes(mesh_of(box(20, 20, 10) + box(10, 10, 10, at=(5, 5, 10))), PrintSettings())
    assert len(stepped.outlines) == 2
    assert stepped.outline_of.tolist() == [0] * 50 + [1] * 50


def test_a_twisted_part_has_a_shape_of_its_own_in_every_layer() -> None:
    # all its layers have the same area and the same length of outline
    bar = mesh_of(Outline.square((20, 10), True).extrude(20, 400, 90.0))
    shapes = part_shapes(bar, PrintSettings(infill_share=1.0))
    assert len(shapes.outlines) == len(shapes.stack) == 100
    assert shapes.volume_mm3 == pytest.approx(from_mesh_volume(bar), rel=1e-6)


def from_mesh_volume(mesh: Mesh) -> float:
    """Volume by trimesh: the second opinion."""
    return float(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).volume)


SOLIDS = {
    # 20 mm cube: 8000
    "cube": (lambda: mesh_of(box(20, 20, 20)), 8000.0),
    # tube R 15 r 3 h 8 (check value `tube`, 5428.6721) with circles of n = 720 corners: n/(2 pi) sin(2 pi/n) of it
    "tube": (
        lambda: mesh_of(drilled(disc(15, 8, 720), 3, 720)),
        5428.6721 * 720 / (2 * math.pi) * math.sin(2 * math.pi / 720),
    ),
    # check value `sph`: 4188.7902; 327,680 faces enclose 3.4e-5 less
    "sphere": (lambda: from_trimesh(trimesh.creation.icosphere(7, 10.0)), 4188.7902),
    # cone r 10, h 20 on 1440 corners: pi r^2 h/3, and the polygon's share of the circle
    "cone": (
        lambda: mesh_of(Solid.cylinder(20, 10, 0, 1440)),
        math.pi * 100 * 20 / 3 * 1440 / (2 * math.pi) * math.sin(2 * math.pi / 1440),
    ),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_at_full_infill_the_material_is_the_volume(name: str) -> None:
    make, volume_mm3 = SOLIDS[name]
    mesh = make()
    shapes = part_shapes(mesh, PrintSettings(infill_share=1.0))
    assert shapes.volume_mm3 == pytest.approx(volume_mm3, rel=5e-5)
    assert shapes.volume_mm3 == pytest.approx(from_mesh_volume(mesh), rel=1e-6)


def test_the_layers_of_a_sphere_are_off_by_the_mid_plane_rule_and_no_more() -> None:
    # the rule is off by h^2/24 times the change of slope of A(z) = pi (r^2 - z^2) over 2 r: h^2/(8 r^2) of the volume
    ball = from_trimesh(trimesh.creation.icosphere(7, 10.0))
    stack = stack_for(20.0, PrintSettings())
    layered = cut(ball, stack.middle_mm - 10).area_mm2 @ stack.thickness_mm
    assert layered / from_mesh_volume(ball) - 1 == pytest.approx(LAYER**2 / 800, rel=0.02)


@pytest.mark.parametrize(
    ("walls", "top", "bottom", "infill"), [(2, 4, 4, 0.2), (3, 2, 5, 0.15), (1, 0, 0, 0.3), (2, 3, 0, 0.0)]
)
def test_the_shell_of_a_cube(walls: int, top: int, bottom: int, infill: float) -> None:
    # everything but the core is solid: side 20 - 2 walls w, height 20 - (top + bottom) h, of which 1 - infill is air
    core = (20 - 2 * walls * WIDTH) ** 2 * (20 - (top + bottom) * LAYER)
    settings = PrintSettings(walls=walls, top_layers=top, bottom_layers=bottom, infill_share=infill)
    shapes = part_shapes(mesh_of(box(20, 20, 20)), settings)
    assert shapes.volume_mm3 == pytest.approx(8000 - (1 - infill) * core, rel=1e-9)


def test_the_shell_honours_the_first_layer() -> None:
    # first layer 0.3, then 98.5 layers rounded up to 99, the top one 0.1: 4 below = 0.9 mm, 4 above = 0.7 mm
    core = (20 - 4 * WIDTH) ** 2 * (20 - 0.9 - 0.7)
    shapes = part_shapes(mesh_of(box(20, 20, 20)), PrintSettings(first_layer_mm=0.3, infill_share=0.2))
    assert shapes.volume_mm3 == pytest.approx(8000 - 0.8 * core, rel=1e-9)


def test_a_step_gets_skin_where_it_is_bare() -> None:
    # base 20 x 20 x 10 under a tower 10 x 10 x 10; inside the walls: a^2 and b^2
    a2, b2 = (20 - 4 * WIDTH) ** 2, (10 - 4 * WIDTH) ** 2
    base = 50 * (400 - a2) + 4 * a2 + 4 * (a2 - 100 + 0.2 * 100) + 42 * 0.2 * a2
    tower = 50 * (100 - b2) + 4 * b2 + 46 * 0.2 * b2
    part = mesh_of(box(20, 20, 10) + box(10, 10, 10, at=(5, 5, 10)))
    shapes = part_shapes(part, PrintSettings(infill_share=0.2))
    assert shapes.volume_mm3 == pytest.approx((base + tower) * LAYER, rel=1e-9)


def test_a_fin_thinner_than_its_walls_is_counted_in_full() -> None:
    shapes = part_shapes(mesh_of(box(20, 0.6, 10)), PrintSettings())
    assert shapes.volume_mm3 == pytest.approx(20 * 0.6 * 10, rel=1e-6)
    # one loop fills it: its two sides lie 0.18 mm apart
    assert shapes.outlines[0].gaps.area_mm2 == pytest.approx(0, abs=1e-6)
    # 1.1 mm: one loop 19.58 by 0.68 leaves a slit; free is 22 - 0.42 x 2 (19.58 + 0.68)
    slit = part_shapes(mesh_of(box(20, 1.1, 10)), PrintSettings())
    assert slit.outlines[0].gaps.area_mm2 == pytest.approx(22 - WIDTH * 2 * (19.58 + 0.68), abs=1e-5)
    hair = part_shapes(mesh_of(box(20, 0.3, 10)), PrintSettings())
    assert hair.outlines[0].gaps.area_mm2 == pytest.approx(6.0)  # narrower than a line


def test_overlapping_bodies_are_not_counted_twice() -> None:
    # two 20 mm cubes, the second shifted by 10: 20 x 20 x 30
    shapes = part_shapes(mesh_of(box(20, 20, 20), box(20, 20, 20, at=(10, 0, 0))), PrintSettings(infill_share=1.0))
    assert shapes.volume_mm3 == pytest.approx(12000, rel=1e-6)


@pytest.mark.parametrize(("layers", "margin"), [(1, 3.0), (3, 3.0), (4, 5.5)])
def test_a_raft_is_the_square_with_its_margin(layers: int, margin: float) -> None:
    settings = PrintSettings(raft_layers=layers, raft_margin_mm=margin, first_layer_mm=0.3)
    shapes = part_shapes(mesh_of(box(20, 20, 20)), settings)
    assert shapes.raft_mm3 == pytest.approx((20 + 2 * margin) ** 2 * (0.3 + (layers - 1) * LAYER), rel=1e-9)


@pytest.mark.parametrize("lines", [1, 8])
def test_a_brim_is_a_ring_around_the_outside(lines: int) -> None:
    # (side + 2 n w)^2 - side^2, one first layer thick; the hole in the part gets none
    settings = PrintSettings(brim_lines=lines, first_layer_mm=0.3)
    shapes = part_shapes(mesh_of(drilled(box(20, 20, 20), 3, 48, 10, 10)), settings)
    assert shapes.brim_mm3 == pytest.approx(((20 + 2 * lines * WIDTH) ** 2 - 400) * 0.3, rel=1e-9)
    assert [len(loops) for loops in shapes.brim] == [1] * lines


def test_a_brim_around_a_raft_goes_around_the_raft() -> None:
    shapes = part_shapes(mesh_of(box(20, 20, 20)), PrintSettings(brim_lines=2, raft_layers=1))
    assert shapes.brim_mm3 == pytest.approx(((26 + 4 * WIDTH) ** 2 - 26**2) * 0.2, rel=1e-9)


def test_without_raft_and_brim_there_is_none() -> None:
    shapes = part_shapes(mesh_of(box(20, 20, 20)), PrintSettings())
    assert (shapes.raft_mm3, shapes.brim_mm3, shapes.brim) == (0.0, 0.0, ())
