"""Plates, brims and rafts by hand: what a plate takes is not the sum of its parts. Derivations stand beside."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from meshcheck.estimate import estimate, estimate_plate
from meshcheck.layers.drawing import draw_layer
from meshcheck.layers.shapes import part_shapes
from meshcheck.types import Machine, PrintSettings
from tests.meshcheck.parts import box, mesh_of
from tests.meshcheck.test_estimate import _leg, figures

ONE_WALL = PrintSettings(walls=1, top_layers=0, bottom_layers=0, infill_share=0.0)
MACHINE = replace(Machine(), layer_minimum_s=0.0)
SIDE = 40 - ONE_WALL.line_width_mm  # of the loop through the middle of the wall, mm


def loop_s(speed: float) -> float:
    """A square loop from rest to rest; three corners of 90 degrees at the speed of the circle that leaves the corner by
    the junction deviation: v^2 = a d s / (1 - s) with s = sin 45 degrees."""
    s = math.sqrt(0.5)
    corner = math.sqrt(1000 * 0.013 * s / (1 - s))
    return 2 * _leg(SIDE, speed, 0.0, corner) + 2 * _leg(SIDE, speed, corner, corner)


def way_s(distance_mm: float) -> float:
    """A way without plastic that reaches travel speed, from rest to rest, with a retraction."""
    return distance_mm / MACHINE.travel_mm_s + MACHINE.travel_mm_s / 1000 + MACHINE.retraction_s


def hollow(count: int, apart_mm: float = 60.0, machine: Machine = MACHINE) -> float:
    part = mesh_of(box(40, 40, 10))
    placed = [(part, apart_mm * k, 0.0, 0.0) for k in range(count)]
    return figures(estimate_plate(placed, ONE_WALL, machine, [None] * count)).duration_s


@pytest.mark.parametrize("count", [1, 2, 4])
def test_a_plate_of_hollow_boxes_in_a_row(count: int) -> None:
    # 50 layers: in each every box's loop and the ways from one to the next; the next layer goes back the same way, so
    # that nothing is travelled between layers. Heat-up and changes of layer come once.
    loops = [loop_s(speed) for speed in [20.0] + [40.0] * 49]
    by_hand = 180 + 50 * 0.3 + sum(count * loop + (count - 1) * way_s(60.0) for loop in loops)
    assert hollow(count) == pytest.approx(by_hand, rel=1e-9)
    alone = 180 + 50 * 0.3 + sum(loops)  # what a plate is not: the sum of its parts, nor that less their heat-ups
    assert count == 1 or min(abs(by_hand - count * alone + saved) for saved in (0, (count - 1) * 180)) > 10


def test_together_they_wait_for_the_least_time_of_a_layer_once() -> None:
    # one box's loop lasts 4.1 s: alone each layer waits until 8.5 s are over; two with the way between them last 9 s
    machine = replace(MACHINE, layer_minimum_s=8.5)
    loops = [loop_s(speed) for speed in [20.0] + [40.0] * 49]
    assert max(loops) < 8.5 < 2 * min(loops) + way_s(60.0)
    assert hollow(1, machine=machine) == pytest.approx(180 + 50 * 0.3 + sum(max(loop, 8.5) for loop in loops), rel=1e-9)
    assert hollow(2, machine=machine) == pytest.approx(hollow(2), rel=1e-12)


def test_two_heights_share_only_the_layers_they_both_have() -> None:
    # 50 layers of both, then 25 of the taller alone; from its last shared layer the head stays with the taller
    low, tall = mesh_of(box(40, 40, 10)), mesh_of(box(40, 40, 15))
    found = figures(estimate_plate([(tall, 0, 0, 0), (low, 60, 0, 0)], ONE_WALL, MACHINE, [None, None]))
    loops = [loop_s(speed) for speed in [20.0] + [40.0] * 74]
    both = sum(2 * loop + way_s(60.0) for loop in loops[:50])
    assert found.layers == 75
    assert found.duration_s == pytest.approx(180 + 75 * 0.3 + both + sum(loops[50:]), rel=1e-9)


@pytest.mark.parametrize("heat_up_s", [0.0, 240.0])
def test_a_plate_is_heated_once_and_cooled_after_it(heat_up_s: float) -> None:
    machine = replace(MACHINE, heat_up_s=heat_up_s, cool_down_s=777.0)
    part = mesh_of(box(40, 40, 10))
    found = figures(estimate_plate([(part, 60.0 * k, 0, 0) for k in range(3)], ONE_WALL, machine, [None] * 3))
    assert found.duration_s == pytest.approx(hollow(3) - 180 + heat_up_s)
    assert (found.heat_up_s, found.cool_down_s) == (heat_up_s, 777.0)  # cooling is not printing


def length(loop: object) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(loop))  # type: ignore[call-overload]


@pytest.mark.parametrize("lines", [1, 2, 5])
def test_a_brim_is_drawn_as_rings(lines: int) -> None:
    # ring k runs (k + 1/2) widths outside the 20 mm square: 4 (20 + (2 k + 1) w)
    settings = PrintSettings(brim_lines=lines)
    rings = sorted(length(ring) for ring in draw_layer(part_shapes(mesh_of(box(20, 20, 4)), settings), 0).brim)
    width = settings.line_width_mm
    assert rings == pytest.approx([4 * (20 + (2 * k + 1) * width) for k in range(lines)], rel=1e-6)


def test_the_time_of_a_brim_is_that_of_its_rings() -> None:
    # 40 mm hollow box, one ring more, at the speed of the first layer; both loops are taken one after the other with a
    # way of less than 2 mm between their corners, without a rest: at most one stop and start apart from their sum
    plain, with_brim = (
        figures(estimate(mesh_of(box(40, 40, 10)), replace(ONE_WALL, brim_lines=lines), MACHINE, None)).duration_s
        for lines in (0, 1)
    )
    ring_mm = 4 * (40 + ONE_WALL.line_width_mm)
    assert with_brim - plain == pytest.approx(ring_mm / 20, abs=20 / 1000 + 0.1)


@pytest.mark.parametrize("layers", [1, 3])
def test_a_raft_is_drawn_as_lines_that_fill_it(layers: int) -> None:
    # 20 mm square and 3 mm margin: 26^2 / w of line in each layer; rims cut the outermost lines short
    settings = PrintSettings(raft_layers=layers)
    shapes = part_shapes(mesh_of(box(20, 20, 4)), settings)
    for k in range(layers):
        drawn = sum(length(line) for line in draw_layer(shapes, k).raft)
        assert drawn == pytest.approx(26**2 / settings.line_width_mm, rel=0.05)
        assert not draw_layer(shapes, k).walls
    assert draw_layer(shapes, layers).walls


@pytest.mark.parametrize("layers", [1, 3])
def test_a_raft_takes_the_time_of_its_lines(layers: int) -> None:
    plain, raised = (
        figures(estimate(mesh_of(box(40, 40, 10)), replace(ONE_WALL, raft_layers=count), MACHINE, None))
        for count in (0, layers)
    )
    shapes = part_shapes(mesh_of(box(40, 40, 10)), replace(ONE_WALL, raft_layers=layers))
    lines_s = [
        sum(length(line) for line in draw_layer(shapes, k).raft) / (20.0 if k == 0 else MACHINE.infill_mm_s)
        for k in range(layers)
    ]
    # the part's first layer is no first layer any more; a turn at the end of each of 2 x 46 x sqrt 2 / w lines costs
    # less than a stop and a start, 2 x speed / a
    faster = loop_s(20.0) - loop_s(40.0)
    added = raised.duration_s - plain.duration_s + faster - layers * 0.3
    turns = 46 * math.sqrt(2) / ONE_WALL.line_width_mm
    assert sum(lines_s) < added < sum(lines_s) + layers * turns * 2 * MACHINE.infill_mm_s / 1000
