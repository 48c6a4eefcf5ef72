"""A layer as it is shown must be the layer that is estimated: grams and seconds of all layers add up to the part's.

Closed forms by hand; figures of whole parts against meshcheck.estimate, which has its own tests.
"""

from __future__ import annotations

import re

import manifold3d
import pytest

from meshcheck.estimate import estimate
from meshcheck.inside import SIDE, look_inside
from meshcheck.overhang import overhang
from meshcheck.types import Machine, PrintSettings, known
from tests.meshcheck.test_picture import mesh_of

CUBE = mesh_of(manifold3d.Manifold.cube((20, 20, 4)))
TABLE = mesh_of(
    manifold3d.Manifold.cube((40, 40, 2)).translate((0, 0, 10))
    + manifold3d.Manifold.cube((10, 10, 10)).translate((15, 15, 0))
)
MACHINE = Machine(layer_minimum_s=0.0)


def every_layer(mesh, settings, support=None):
    count = look_inside(mesh, settings, MACHINE, support, 0).layers
    return [look_inside(mesh, settings, MACHINE, support, k) for k in range(count)]


def test_layers_of_a_cube_add_up_to_its_estimate():
    settings = PrintSettings()
    whole = known(estimate(CUBE, settings, MACHINE, None))
    views = every_layer(CUBE, settings)
    assert len(views) == whole.layers == 20
    # the head's way between two layers belongs to neither: up to 28.3 mm at 150 mm/s and 1000 mm/s2, and a retraction
    between_s = 20 * (28.3 / 150 + 150 / 1000 + 0.25)
    assert sum(v.seconds for v in views) == pytest.approx(whole.duration_s - whole.heat_up_s, abs=between_s)
    assert sum(v.mass_g for v in views) == pytest.approx(whole.mass_g, rel=1e-6)


def test_a_solid_layer_weighs_what_its_area_says():
    view = look_inside(CUBE, PrintSettings(infill_share=1.0), MACHINE, None, 3)
    assert view.mass_g == pytest.approx(20 * 20 * 0.2 * 1.24 / 1000, rel=1e-6)
    assert view.top_mm == pytest.approx(0.8)


def test_support_is_drawn_and_the_highest_underside_named():
    settings = PrintSettings(support="on")
    support = overhang(TABLE, 45.0, watertight=True)
    below = look_inside(TABLE, settings, MACHINE, support, 10)
    above = look_inside(TABLE, settings, MACHINE, support, 55)
    assert ("support", "support") in below.kinds
    assert ("support", "support") not in above.kinds
    assert below.overhang_layer == 50  # the top lies on 10 mm, under the layer that begins there
    assert look_inside(CUBE, settings, MACHINE, overhang(CUBE, 45.0, watertight=True), 0).overhang_layer is None


@pytest.mark.parametrize(("asked", "given"), [(-5, 0), (0, 0), (19, 19), (10_000, 19)])
def test_a_number_beyond_the_part_gives_its_first_or_last_layer(asked, given):
    assert look_inside(CUBE, PrintSettings(), MACHINE, None, asked).layer == given


def test_the_drawing_stays_in_its_frame_and_writes_no_style():
    settings = PrintSettings(raft_layers=2, brim_lines=0)
    for layer in (0, 2, 10):
        svg = look_inside(CUBE, settings, MACHINE, None, layer).svg
        assert "style=" not in svg
        numbers = [float(n) for n in re.findall(r"-?\d+\.\d", svg.split("</title>")[1])]
        assert 0 <= min(numbers) <= max(numbers) <= SIDE
