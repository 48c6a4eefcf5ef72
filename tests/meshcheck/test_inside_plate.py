"""A layer of a plate as it is shown must be the layer that is estimated: its grams and seconds add up to the plate's.

Closed forms by hand; figures of whole plates against meshcheck.estimate, which has its own tests.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from meshcheck.estimate import estimate_plate
from meshcheck.inside import look_inside
from meshcheck.inside_plate import SIDE, look_inside_plate
from meshcheck.overhang import overhang
from meshcheck.types import Machine, Mesh, PrintSettings, Unknown, known
from tests.meshcheck.parts import box, mesh_of

LOW, HIGH = mesh_of(box(20, 20, 2)), mesh_of(box(10, 30, 4))
TABLE = mesh_of(box(40, 40, 2, at=(0, 0, 10)) + box(10, 10, 10, at=(15, 15, 0)))
MACHINE = Machine(layer_minimum_s=0.0)
PLACED = [(LOW, 40.0, 40.0, 0.0), (LOW, 80.0, 40.0, 30.0), (HIGH, 40.0, 90.0, 90.0)]


def view(layer, placed=PLACED, settings=None, supports=None, machine=MACHINE):
    found = look_inside_plate(placed, supports or [None] * len(placed), settings or PrintSettings(), machine, layer)
    assert not isinstance(found, Unknown)
    return found


def test_layers_of_a_plate_add_up_to_its_estimate():
    whole = known(estimate_plate(PLACED, PrintSettings(), MACHINE, [None] * 3))
    views = [view(layer) for layer in range(whole.layers)]
    assert len(views) == 20
    # the head's way from one layer to the next belongs to neither: at most across the plate, 80 mm at 150 mm/s and
    # 1000 mm/s2, and a retraction
    between_s = 20 * (80 / 150 + 150 / 1000 + 0.25)
    assert sum(v.seconds for v in views) == pytest.approx(whole.duration_s - whole.heat_up_s, abs=between_s)
    assert sum(v.mass_g for v in views) == pytest.approx(whole.mass_g, rel=1e-6)


def test_a_solid_layer_weighs_what_the_areas_say():
    solid = PrintSettings(infill_share=1.0)
    grams_mm = 0.2 * 1.24 / 1000
    assert view(3, settings=solid).mass_g == pytest.approx((2 * 20 * 20 + 10 * 30) * grams_mm, rel=1e-6)
    assert view(15, settings=solid).mass_g == pytest.approx(10 * 30 * grams_mm, rel=1e-6)  # only the high one


def test_one_copy_alone_is_the_part_itself():
    alone, part = view(5, placed=PLACED[:1]), look_inside(LOW, PrintSettings(), MACHINE, None, 5)
    assert (alone.layers, alone.kinds) == (part.layers, part.kinds)
    assert (alone.seconds, alone.mass_g) == pytest.approx((part.seconds, part.mass_g))


def test_travel_between_copies_takes_time():
    two = [(LOW, 40.0, 40.0, 0.0), (LOW, 140.0, 40.0, 0.0)]
    one = view(5, placed=two[:1])
    # on paper: the way is 80 to 120 mm, however the head leaves and enters, at 150 mm/s after reaching it at
    # 1000 mm/s2 (150/1000 s more), and one retraction
    more_s = view(5, placed=two).seconds - MACHINE.layer_change_s - 2 * (one.seconds - MACHINE.layer_change_s)
    assert 80 / 150 + 0.15 + 0.25 <= more_s <= 130 / 150 + 0.15 + 0.25


def test_the_highest_underside_of_all_copies():
    placed = [(LOW, 40.0, 40.0, 0.0), (TABLE, 100.0, 40.0, 0.0)]
    supports = [overhang(mesh, 45.0, watertight=True) for mesh, *_ in placed]
    found = view(10, placed=placed, settings=PrintSettings(support="on"), supports=supports)
    assert found.overhang_layer == 50  # the top lies on 10 mm
    assert ("support", "support") in found.kinds
    assert view(0).overhang_layer is None


@pytest.mark.parametrize(("asked", "given"), [(-5, 0), (0, 0), (19, 19), (10_000, 19)])
def test_a_number_beyond_the_plate_gives_its_first_or_last_layer(asked, given):
    assert view(asked).layer == given


def test_the_drawing_puts_every_copy_where_it_stands():
    """Copies 40 mm apart are drawn 40 mm apart at the picture's scale, and everything stays in its frame."""
    placed = [(LOW, 40.0, 40.0, 0.0), (LOW, 80.0, 40.0, 0.0)]
    svg = view(3, placed=placed).svg
    assert "style=" not in svg
    points = np.array([[float(x), float(y)] for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", svg)])
    width, height = (int(side) for side in re.findall(r'viewBox="0 0 (\d+) (\d+)"', svg)[0])
    assert width == SIDE
    assert points.min() >= 0
    assert (points <= [width, height]).all()
    left, right = points[points[:, 0] < SIDE / 2], points[points[:, 0] > SIDE / 2]
    assert len(left) == len(right)
    scale = (SIDE - 48) / 60  # px per mm: 60 mm wide
    apart = (right.min(axis=0) - left.min(axis=0)) / scale
    assert apart == pytest.approx([40, 0], abs=0.05)
    assert re.findall(r">(\d)</text>", svg) == ["1", "2"]


def test_an_open_skin_is_told_with_its_copy():
    torn = Mesh(LOW.vertices, LOW.faces[1:], np.zeros(len(LOW.faces) - 1, np.int32))
    found = look_inside_plate([PLACED[0], (torn, 90.0, 90.0, 0.0)], [None, None], PrintSettings(), MACHINE, 0)
    assert isinstance(found, Unknown)
    assert "copy 2" in found.because
