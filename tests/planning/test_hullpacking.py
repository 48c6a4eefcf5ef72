"""Hulls packed by their own corners: counts that can be reasoned out, gaps proved by shapely, no worse than boxes."""

from __future__ import annotations

import math
from dataclasses import replace
from time import perf_counter, process_time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.clearance import breaches
from planning.filling import Packing
from planning.outlines import centred_hull, fewer_corners, outline_of
from planning.plates import _best_fill, lay_out, misfits
from planning.types import Area, Bed, Circle, Footprint, Hull, Item, Rectangle
from tests.planning.test_plates import BED, GAP_MM, assert_sound, item

TRIANGLE = Hull(((0.0, 0.0), (90.0, 0.0), (0.0, 90.0)))


def box_plates(items: list[Item], bed: Bed = BED) -> int:
    """How many plates the same parts need in their circles and boxes, by the same search."""
    packing = Packing([outline_of(each.shape.footprint) for each in items], bed, GAP_MM)
    return _best_fill(packing, [[at] for at in range(len(items))], len(items), 0).plates


def redesigned(count: int, seed: int) -> list[Item]:
    """Outlines of parts somebody drew: wedges, arrows and slanted plates of 40 to 110 mm."""
    random = np.random.default_rng(seed)
    items = []
    for at in range(count):
        long, wide = (float(value) for value in random.uniform((60, 25), (110, 60)))
        shapes: list[Footprint] = [
            Hull(((0, 0), (long, 0), (0, wide))),
            Hull(((0, 0), (long, wide * 0.3), (long, wide * 0.7), (0, wide))),
            Hull(((0, 0), (long * 0.7, 0), (long, wide), (long * 0.3, wide))),
            Hull(((0, wide / 2), (long / 2, 0), (long, wide / 2), (long / 2, wide))),
        ]
        items.append(item(f"part{at:03d}", shapes[at % len(shapes)]))
    return items


def test_right_triangles_share_the_squares_around_them() -> None:
    """Two triangles with legs of 90, the long sides facing 5 mm apart, take 90 by 97.1 mm (90 + 5 sqrt 2): a bed of
    210 mm holds more of them than the four that fit as boxes of 90 mm."""
    twelve = [item(f"t{at:02d}", TRIANGLE) for at in range(12)]
    assert box_plates(twelve) == 3
    layouts = lay_out(twelve, BED)
    assert len(layouts) == 2
    assert_sound(layouts, twelve, BED)


def test_redesigned_parts_need_fewer_plates_than_their_boxes() -> None:
    saved = 0
    for seed in (11, 12, 13):
        items = redesigned(48, seed)
        began = perf_counter()
        layouts = lay_out(items, BED)
        took, boxes = perf_counter() - began, box_plates(items)
        print(f"48 hulls: {len(layouts)} plates, {boxes} in boxes, {took:.2f} s")
        assert_sound(layouts, items, BED)
        assert len(layouts) <= boxes
        saved += boxes - len(layouts)
    assert saved > 0


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_any_hulls_keep_their_gaps_and_never_take_more_plates_than_boxes(seed: int) -> None:
    random = np.random.default_rng(seed)
    keep_out = (Area(0.0, 95.0, 12.0, 30.0),) if random.random() < 0.5 else ()
    bed = Bed.circle(225, 200, keep_out=keep_out) if random.random() < 0.5 else replace(BED, keep_out=keep_out)
    items = redesigned(int(random.integers(2, 12)), seed)
    items += [item(f"w{at}", Circle(float(random.uniform(10, 40)))) for at in range(3)]
    items += [item(f"r{at}", Rectangle(float(random.uniform(10, 80)), 30.0)) for at in range(2)]
    assert misfits(items, bed, GAP_MM) == ()
    layouts = lay_out(items, bed, GAP_MM, seed=seed)
    assert_sound(layouts, items, bed)
    assert len(layouts) <= box_plates(items, bed)
    footprints = {each.id: each.shape.footprint for each in items}
    for layout in layouts:
        assert breaches(layout.items, footprints, bed, GAP_MM) == (), "the rules of laying out by hand say the same"


def test_a_hull_that_only_its_own_corners_bring_onto_a_round_bed() -> None:
    """A rhombus of 170 x 90 fits a circle of 190 mm; the corners of its box, 192 mm from one to the other, do not."""
    rhombus = Hull(((0, 45), (85, 0), (170, 45), (85, 90)))
    bed = Bed.circle(200, 200)
    assert math.hypot(170, 90) > 190
    one = item("rhombus", rhombus)
    assert misfits([one], bed) == ()
    assert_sound(lay_out([one], bed), [one], bed)


def test_kits_of_hulls_stay_together() -> None:
    items = [item(f"t{at:02d}", TRIANGLE, kit_id=f"team{at // 4}") for at in range(12)]
    for layout in lay_out(items, BED, kit_aligned=True):
        teams = [int(spot.item_id[1:]) // 4 for spot in layout.items]
        assert all(teams.count(team) == 4 for team in teams)


@pytest.mark.parametrize("turn", [0.0, 17.0, 133.0])
def test_how_a_part_was_drawn_does_not_matter(turn: float) -> None:
    angle = math.radians(turn)
    drawn = Hull(
        tuple(
            (x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle))
            for x, y in TRIANGLE.points_mm
        )
    )
    twelve = [item(f"t{at:02d}", drawn) for at in range(12)]
    layouts = lay_out(twelve, BED)
    assert_sound(layouts, twelve, BED)
    assert len(layouts) == 2


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(3, 120))
def test_an_outline_of_fewer_corners_holds_the_part(seed: int, corners: int) -> None:
    random = np.random.default_rng(seed)
    drawn = Hull(tuple((float(x), float(y)) for x, y in random.normal(0, 30, (corners, 2))))
    if corners > 40:
        drawn = Hull(tuple((40 * math.cos(angle), 25 * math.sin(angle)) for angle in np.linspace(0, 6.2, corners)))
    fewer = fewer_corners(centred_hull(drawn))
    part, around = shapely.Polygon(centred_hull(drawn)), shapely.Polygon(fewer)
    assert part.difference(around.buffer(1e-7)).area == 0
    assert around.area <= 1.02 * part.area + 1e-6
    assert around.convex_hull.area == pytest.approx(around.area)
    if corners > 40:
        assert len(fewer) == 16, "an ellipse needs no more"


def test_a_whole_class_with_a_drawn_part_among_its_wheels_is_laid_out_at_once() -> None:
    """150 parts of which one is drawn: the way that takes longest, in seconds of the processor."""
    items = [item(f"w{at:03d}", Circle(30 + (at % 5) * 2.5)) for at in range(149)] + [item("drawn", TRIANGLE)]
    lay_out(items[-2:], BED)
    began = process_time()
    layouts = lay_out(items, BED)
    print(f"150 parts, one drawn: {len(layouts)} plates, {process_time() - began:.2f} s of the processor")
    assert_sound(layouts, items, BED)
    assert process_time() - began < 5, "a guard against the square of the square, not a bar"
