"""Support drawn as lines, layer by layer, against closed forms; the derivation stands beside every case."""

from __future__ import annotations

import math
import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from meshcheck.estimate import estimate
from meshcheck.layers.drawing import draw_layer, layer_drawing
from meshcheck.layers.shapes import part_shapes
from meshcheck.layers.support import NONE, wanted_support
from meshcheck.overhang import overhang
from meshcheck.types import Estimate, Machine, Mesh, PrintSettings, Support, Unknown
from tests.meshcheck.parts import Outline, Solid, box, mesh_of, moved, turn_about_z, wheel
from tests.meshcheck.test_overhang import bridge, shelf, table, tee

ON = PrintSettings(support="on")
WIDTH, LAYER, SHARE = ON.line_width_mm, ON.layer_height_mm, ON.support_share


def shapes_of(mesh: Mesh, settings: PrintSettings = ON):
    support = wanted_support(overhang(mesh, watertight=True), settings)
    assert isinstance(support, Support)
    return part_shapes(mesh, settings, support)


def scan_mm(shapes, part_layer: int) -> float:
    """Length of the lines proper, without the steps from one to the next."""
    number = int(shapes.support.pattern_of[part_layer])
    return 0.0 if number == NONE else shapes.support.patterns[number].length_mm


# name: solid, then (from mm, up to mm, area of support in mm2) of every stretch of height
CASES = {
    # 40 x 40 under the top less the leg of 10 x 10, 20 high
    "table": (table, [(0, 20, 1500.0), (20, 25, 0.0)]),
    # (40 - 10) x 10, 20 high
    "T": (tee, [(0, 20, 300.0), (20, 25, 0.0)]),
    # span of 30 x 10 between two piers, 10 high
    "bridge": (bridge, [(0, 10, 300.0), (10, 15, 0.0)]),
    # under the shelf 10 x 40 up to 10; beside it 20 x 40 up to 30; from the shelf at 15 up to 30 10 x 40 more
    "shelf over shelf": (shelf, [(0, 10, 1200.0), (10, 15, 800.0), (15, 30, 1200.0), (30, 35, 0.0)]),
}


@pytest.mark.parametrize("angle_deg", [0, 23, 58.3, 90])
@pytest.mark.parametrize("name", CASES)
def test_the_lines_of_every_layer_are_the_area_over_their_spacing(name: str, angle_deg: float) -> None:
    make, stretches = CASES[name]
    mesh = moved(mesh_of(make()), turn_about_z(angle_deg), (31.4, -7.7, 3.3))
    shapes = shapes_of(mesh)
    middle = shapes.stack.middle_mm
    total = 0.0
    for low, high, area_mm2 in stretches:
        layers = np.flatnonzero((middle > low) & (middle < high))
        expected = area_mm2 * SHARE / WIDTH
        for k in layers:
            # lines 2.8 mm apart cut a width of 10 mm into three or four: half a line more or less at each edge
            assert scan_mm(shapes, int(k)) == pytest.approx(expected, rel=0.2, abs=1e-9)
        total += area_mm2 * (high - low)
    drawn_mm3 = sum(scan_mm(shapes, k) for k in range(len(middle))) * WIDTH * LAYER
    undrawn_mm3 = float(shapes.support.undrawn_mm.sum()) * WIDTH * LAYER
    assert shapes.support.volume_mm3 == pytest.approx(total * SHARE, rel=5e-3)
    assert drawn_mm3 + undrawn_mm3 >= total * SHARE * 0.995
    assert drawn_mm3 == pytest.approx(total * SHARE, rel=0.12)


def test_fine_lines_come_close_to_the_closed_form() -> None:
    # 0.84 mm apart the edges hardly matter any more
    shapes = shapes_of(mesh_of(table()), replace(ON, support_share=0.5))
    assert scan_mm(shapes, 50) == pytest.approx(1500 * 0.5 / WIDTH, rel=0.005)
    # every layer up to the top is the same: worked out once, and nothing had to be made up
    assert len(shapes.support.patterns) == 1
    assert shapes.support.pattern_of.tolist() == [0] * 100 + [NONE] * 25
    assert shapes.support.undrawn_mm.max() < 0.005 * 1500 * 0.5 / WIDTH


def test_lines_stand_where_the_support_stands() -> None:
    layer = layer_drawing(mesh_of(table()), ON, 50, overhang(mesh_of(table()), watertight=True))
    points = np.concatenate(layer.support)
    assert np.abs(points).max() <= 20.2  # the top is 40 wide; columns of 0.25 mm may reach a little over its edge
    ends = [(a, b) for line in layer.support for a, b in pairwise(line)]
    spread = np.concatenate([a + np.linspace(0, 1, 50)[:, None] * (b - a) for a, b in ends])
    assert np.abs(spread).max(axis=1).min() > 4.8  # none through the leg of 10 x 10
    top = layer_drawing(mesh_of(table()), ON, 110, overhang(mesh_of(table()), watertight=True))
    assert top.support == ()


def test_a_line_stands_on_the_line_below() -> None:
    # a cone that widens upward by more than 45 degrees: the lines of a layer lie within those of the layer below
    mesh = mesh_of(Solid.cylinder(20, 2, 2 + 20 * math.tan(math.radians(55)), 128))
    shapes = shapes_of(mesh)
    rows = [shapes.support.patterns[n] for n in shapes.support.pattern_of[:90:10]]
    for below, above in pairwise(rows):
        assert (below.lowest, below.angle_rad, below.spacing_mm) == (above.lowest, above.angle_rad, above.spacing_mm)
        for r in range(len(above.start) - 1):
            lines = above.ends_mm[above.start[r] : above.start[r + 1]].reshape(-1, 2)
            under = below.ends_mm[below.start[r] : below.start[r + 1]].reshape(-1, 2)
            for low, high in lines:
                assert any(a <= low + 1e-9 and high <= b + 1e-9 for a, b in under)


def test_mass_and_time_of_a_table() -> None:
    mesh = mesh_of(table())
    support = overhang(mesh, watertight=True)
    with_it = estimate(mesh, ON, Machine(layer_minimum_s=0.0), support)
    without = estimate(mesh, replace(ON, support="off"), Machine(layer_minimum_s=0.0), support)
    assert isinstance(with_it, Estimate)
    assert isinstance(without, Estimate)
    # 1500 mm2 x 20 mm x 15 % x 1.24 g/cm3
    assert with_it.support_g == pytest.approx(1500 * 20 * 0.15 * 1.24e-3, rel=5e-3)
    # 1500 x 0.15 / 0.42 = 536 mm a layer at 60 mm/s, the first at 20
    lower_s = 99 * 536 / 60 + 536 / 20
    # on top come at most 30 turns a layer (a square of 40 mm on its corner is 57 mm wide, lines are 2.8 mm apart, the
    # leg splits some): a step of about 4 mm, 2 sqrt(d/a) from rest to rest, and v/a to be back at speed
    turns_s = 100 * 30 * (2 * math.sqrt(4 / 1000) + 60 / 1000)
    assert lower_s < with_it.duration_s - without.duration_s < lower_s + turns_s


def test_a_ledge_narrower_than_the_spacing_still_takes_its_time() -> None:
    # 60 x 1 mm beside a wall, turned so that it lies along the rows, between which it can fall
    solid = box(60, 10, 20) + box(60, 11, 5, (0, 0, 20))
    for angle in np.linspace(-33, -30, 7):
        mesh = moved(mesh_of(solid), turn_about_z(float(angle)))
        shapes = shapes_of(mesh)
        drawn_mm = sum(scan_mm(shapes, k) for k in range(len(shapes.stack)))
        counted = (drawn_mm + shapes.support.undrawn_mm.sum()) * WIDTH * LAYER
        assert counted >= 60 * 1 * 20 * SHARE * 0.98


def test_a_raft_reaches_under_the_support_that_stands_on_it() -> None:
    # the top 40 x 40 casts its support on the raft: (40 + 2 x 3)^2, two layers; alone the leg would take 16^2
    settings = replace(ON, raft_layers=2)
    for angle in (0.0, 31.0):
        shapes = shapes_of(moved(mesh_of(table()), turn_about_z(angle)), settings)
        assert shapes.raft_mm3 == pytest.approx(46**2 * 0.4, rel=0.01)
    drawing = draw_layer(shapes, 2)
    assert drawing.support
    assert not drawing.raft


@pytest.mark.parametrize(
    ("wish", "support"),
    [
        (replace(ON, support="off"), Support(50.0, np.zeros(0, np.int32), 100.0, 0.0, 45.0)),
        (replace(ON, support="auto"), Support(4.9, np.zeros(0, np.int32), 100.0, 0.0, 45.0)),
        (replace(ON, support_share=0.0), Support(50.0, np.zeros(0, np.int32), 100.0, 0.0, 45.0)),
        (ON, None),
        (ON, Support(50.0, np.zeros(0, np.int32), 0.0, 0.0, 45.0)),
    ],
)
def test_support_nobody_wants(wish: PrintSettings, support: Support | None) -> None:
    assert wanted_support(support, wish) is None


def test_support_that_could_not_be_measured_says_why() -> None:
    unknown = Unknown("it has gaps")
    found = wanted_support(Support(50.0, np.zeros(0, np.int32), unknown, unknown, 45.0), ON)
    assert isinstance(found, Unknown)
    assert "it has gaps" in found.because


def test_support_of_a_known_volume_without_a_place_is_spread_over_the_layers() -> None:
    shapes = part_shapes(mesh_of(box(20, 20, 20)), ON, Support(100.0, np.zeros(0, np.int32), 1000.0, 0.0, 45.0))
    assert shapes.support.undrawn_mm.sum() * WIDTH * LAYER == pytest.approx(1000 * SHARE)
    assert shapes.support.patterns == ()


@pytest.mark.bench
def test_speed_with_support() -> None:
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 22 + 5 * np.sin(7 * turn)
    star = Outline([np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)])
    fine = star.extrude(100, 248, 90.0, (2.0, 2.0)).rotate((0, 60, 0))
    for name, part in (("wheel", mesh_of(wheel(hub_width=12).rotate((90, 0, 0)))), ("leaning star", mesh_of(fine))):
        support = overhang(part, watertight=True)
        first = estimate(part, ON, Machine(), support)
        assert isinstance(first, Estimate)
        started = time.process_time()
        estimate(part, ON, Machine(), support)
        spent_ms = (time.process_time() - started) * 1e3
        sizes = f"{len(part.faces):,} triangles, {first.layers} layers, {first.support_g:.1f} g of support"
        print(f"\n{name}: {sizes}: {spent_ms:.0f} ms CPU")
