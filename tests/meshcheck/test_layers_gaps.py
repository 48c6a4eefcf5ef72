"""Single lines in places too narrow for walls, against closed forms and shapely."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from manifold3d import CrossSection

from meshcheck.estimate import estimate
from meshcheck.layers.drawing import layer_drawing
from meshcheck.layers.gaps import Gaps, gaps_between
from meshcheck.layers.path import Stroke, layer_key, layer_path
from meshcheck.layers.shapes import part_shapes
from meshcheck.types import Estimate, Machine, PrintSettings
from tests.meshcheck.parts import Outline, box, disc, drilled, mesh_of

WIDTH = PrintSettings().line_width_mm


def lengths(gaps: Gaps) -> list[float]:
    return [float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in gaps.lines_mm]


def strip(x0: float, y0: float, x1: float, y1: float) -> CrossSection:
    return CrossSection.square((x1 - x0, y1 - y0)).translate((x0, y0))


def test_a_slit_gets_one_line_through_its_middle() -> None:
    gaps = gaps_between(strip(0, 0, 20, 0.3), WIDTH)
    (line,) = gaps.lines_mm
    assert line[:, 1] == pytest.approx(np.full(len(line), 0.15))
    assert gaps.widths_mm == pytest.approx((0.3,))
    # it begins and ends half a step (0.21 mm) from the ends
    assert lengths(gaps)[0] == pytest.approx(20 - 0.21, abs=0.02)
    assert gaps.undrawn_mm2 == pytest.approx(0.3 * 0.21, abs=0.01)


@pytest.mark.parametrize("angle_deg", [0.0, 17.0, 45.0, 90.0, 200.0])
def test_a_wedge_gets_a_line_of_its_mean_width(angle_deg: float) -> None:
    # from 0.1 to 0.4 mm wide over 20 mm: mean width 0.25, the middle line as long as the wedge
    wedge = CrossSection([np.array([[0, 0], [20, 0], [20, 0.4], [0, 0.1]])]).rotate(angle_deg)
    gaps = gaps_between(wedge, WIDTH)
    assert sum(lengths(gaps)) == pytest.approx(20, abs=0.5)
    assert np.average(gaps.widths_mm, weights=lengths(gaps)) == pytest.approx(0.25, abs=0.01)


def test_a_thin_ring_gets_a_closed_circle() -> None:
    # between r 10 and 10.3: a circle of 2 pi 10.15 mm
    ring = CrossSection.circle(10.3, 256) - CrossSection.circle(10, 256)
    gaps = gaps_between(ring, WIDTH)
    (line,) = gaps.lines_mm
    assert line[0] == pytest.approx(line[-1])
    assert lengths(gaps)[0] == pytest.approx(2 * math.pi * 10.15, rel=2e-3)
    assert np.hypot(*line.T) == pytest.approx(np.full(len(line), 10.15), abs=0.01)


def test_arms_that_meet_are_each_drawn_once() -> None:
    # three arms of 10 x 0.3 mm at 120 degrees, and a cross
    arm = strip(0, -0.15, 10, 0.15)
    for count in (3, 4):
        star = CrossSection()
        for k in range(count):
            star = star + arm.rotate(360 / count * k)
        gaps = gaps_between(star, WIDTH)
        assert sum(lengths(gaps)) == pytest.approx(10 * count, rel=0.06)
        drawn = sum(w * length for w, length in zip(gaps.widths_mm, lengths(gaps), strict=True))
        assert drawn + gaps.undrawn_mm2 == pytest.approx(gaps.area_mm2)
        assert drawn == pytest.approx(gaps.area_mm2, rel=0.06)


@pytest.mark.parametrize("seed", range(20))
def test_random_thin_shapes_lie_under_their_lines(seed: int) -> None:
    """A bent band of varying width: every line runs inside it, and lines of their width cover it."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0, 30, 40)
    y = np.cumsum(rng.normal(0, 0.2, 40))
    half = rng.uniform(0.06, 0.2) * (1 + 0.2 * np.sin(x))
    band = np.concatenate([np.stack([x, y - half], axis=1), np.stack([x, y + half], axis=1)[::-1]])
    gaps = gaps_between(CrossSection([band]), WIDTH)
    shape = shapely.Polygon(band)
    lines = shapely.MultiLineString(list(gaps.lines_mm))
    assert lines.difference(shape.buffer(0.03)).length < 0.02 * lines.length
    assert shape.difference(lines.buffer(0.25)).area < 0.05 * shape.area
    middle = shapely.LineString(np.stack([x, y], axis=1))
    assert lines.length == pytest.approx(middle.length, rel=0.06)


def test_nothing_left_over_needs_no_line() -> None:
    assert gaps_between(CrossSection(), WIDTH).lines_mm == ()


def test_crumbs_are_counted_and_not_drawn() -> None:
    gaps = gaps_between(strip(0, 0, 0.2, 0.2), WIDTH)
    assert gaps.lines_mm == ()
    assert gaps.undrawn_mm2 == pytest.approx(0.04)


# ---- in a part


def test_a_wall_of_one_line_is_drawn_and_timed() -> None:
    # a fin of 0.3 mm: one line, 20 mm long less the step at its ends, in each of 50 layers
    part = mesh_of(box(20, 0.3, 10))
    machine = Machine(layer_minimum_s=0.0, layer_change_s=0.0, heat_up_s=0.0, first_layer_mm_s=60.0)
    found = estimate(part, PrintSettings(), machine, None)
    assert isinstance(found, Estimate)
    assert found.mass_g == pytest.approx(20 * 0.3 * 10 * 1.24e-3, rel=1e-6)
    # 19.8 mm at 60 mm/s, 1000 mm/s2: L/v + v/a; and back to where the next layer begins at 150 mm/s, retracted
    back_s = 19.8 / 150 + 150 / 1000 + 0.25
    assert found.duration_s == pytest.approx(50 * (19.8 / 60 + 60 / 1000) + 49 * back_s, rel=0.01)
    layer = layer_drawing(part, PrintSettings(), 3)
    assert len(layer.gaps) == 1
    assert layer.gap_widths_mm == pytest.approx((0.3,))
    assert layer.walls == ()


def test_a_tube_wall_of_five_half_lines_has_two_walls_each_side_and_a_ring_between() -> None:
    # wall of 4.5 line widths: two loops from outside, two from inside, and half a line between them
    wall = 4.5 * WIDTH
    part = mesh_of(drilled(disc(15, 2, 256), 15 - wall, 256))
    shapes = part_shapes(part, PrintSettings())
    gaps = shapes.outlines[0].gaps
    # the inner room is half a line wide and drawn as skin; nothing is left over by the walls
    assert gaps.area_mm2 == pytest.approx(0, abs=1e-3)
    narrower = mesh_of(drilled(disc(15, 2, 256), 15 - 3.5 * WIDTH, 256))
    gaps = part_shapes(narrower, PrintSettings()).outlines[0].gaps
    # one loop from each side leaves 1.5 lines; the second wall's two loops overlap there and fill it
    assert gaps.area_mm2 == pytest.approx(0, abs=0.05)
    slit = part_shapes(mesh_of(drilled(disc(15, 2, 256), 15 - 2.6 * WIDTH, 256)), PrintSettings()).outlines[0].gaps
    # one loop from each side leaves 0.6 of a line, a ring in the middle of the wall
    assert slit.widths_mm == pytest.approx((0.6 * WIDTH,), abs=0.02)
    assert lengths(slit)[0] == pytest.approx(2 * math.pi * (15 - 1.3 * WIDTH), rel=2e-3)


def test_the_path_has_a_stroke_for_gaps() -> None:
    shapes = part_shapes(mesh_of(box(20, 1.1, 10)), PrintSettings())
    path = layer_path(shapes, layer_key(shapes, 5))
    step = np.hypot(*np.diff(path.points_mm, axis=0).T)
    gap_mm = step[path.strokes[1:] == Stroke.GAP].sum()
    # the slit between the loops: 20 - 2 x 0.42 long, 1.1 - 2 x 0.42 wide
    assert gap_mm == pytest.approx(19.16 - 0.21, abs=0.03)


def test_pointed_tips_are_no_gaps() -> None:
    turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    radius = np.where(np.arange(16) % 2, 4.0, 15.0)
    star = mesh_of(Outline([np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)]).extrude(3))
    assert part_shapes(star, PrintSettings()).outlines[0].gaps.area_mm2 == 0
