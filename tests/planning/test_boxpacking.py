"""Plates against an independent packer of the same boxes: rectpack, with several of its methods."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from rectpack import (
    SORT_AREA,
    SORT_LSIDE,
    SORT_SSIDE,
    GuillotineBssfSas,
    MaxRectsBaf,
    MaxRectsBssf,
    PackingBin,
    PackingMode,
    SkylineMwfl,
    newPacker,
)

from planning.outlines import smallest_box
from planning.plates import lay_out, misfits
from planning.types import Area, Bed, Circle, Footprint, Hull, Item, Rectangle
from tests.planning.test_plates import assert_sound, item

GAP_MM, STEPS_PER_MM = 5.0, 1000
PACKERS, ORDERS = (MaxRectsBssf, MaxRectsBaf, SkylineMwfl, GuillotineBssfSas), (SORT_AREA, SORT_SSIDE, SORT_LSIDE)


def box_packer(items: list[Item], bed: Bed) -> int:
    """The fewest plates any of the packer's methods needs; a box and its gap are one box, as the bed and a gap are."""
    boxes = [smallest_box(each.shape.footprint) for each in items]
    sizes = [(2 * box.half_width_mm + GAP_MM, 2 * box.half_depth_mm + GAP_MM) for box in boxes]
    whole = [tuple(math.ceil(round(side * STEPS_PER_MM, 3)) for side in size) for size in sizes]
    room = [side - 2 * bed.margin_mm + GAP_MM for side in (bed.width_mm, bed.depth_mm)]
    plates = []
    for method, order in product(PACKERS, ORDERS):
        packer = newPacker(PackingMode.Offline, PackingBin.BBF, method, order, rotation=True)
        packer.add_bin(*(math.floor(side * STEPS_PER_MM) for side in room), count=len(items))
        for width, depth in whole:
            packer.add_rect(width, depth)
        packer.pack()
        assert len(packer.rect_list()) == len(items)
        plates.append(len(packer))
    return min(plates)


def mix(random: np.random.Generator, only_boxes: bool) -> list[Item]:
    """Up to 40 parts of one spread of sizes: boxes, or discs, boxes and hulls."""
    small, large = sorted(random.uniform(10, 120, 2))
    items = []
    for number in range(int(random.integers(5, 41))):
        width, depth = (round(float(side), 1) for side in random.uniform(small, max(large, small + 5), 2))
        kind = 1 if only_boxes else random.integers(0, 3)
        footprint: Footprint = Rectangle(width, depth)
        if kind == 0:
            footprint = Circle(width / 2)
        elif kind == 2:
            points = random.uniform((-width / 2, -depth / 2), (width / 2, depth / 2), (8, 2))
            footprint = Hull(tuple((float(x), float(y)) for x, y in points))
        items.append(item(f"i{number:02d}", footprint))
    return items


@pytest.mark.slow
@pytest.mark.parametrize("chapter", range(8))
def test_never_more_plates_than_a_box_packer(chapter: int) -> None:
    """320 random mixes in all, half of them of boxes only, on beds of 180 to 320 mm. Not those the layout was made
    with."""
    lost = []
    for seed in range(5000 + 40 * chapter, 5040 + 40 * chapter):
        random = np.random.default_rng(seed)
        bed = Bed.rectangle(*(float(round(side)) for side in random.uniform(180, 320, 2)), 250)
        items = mix(random, only_boxes=seed % 2 == 0)
        refused = {misfit.item_id for misfit in misfits(items, bed, GAP_MM)}
        items = [each for each in items if each.id not in refused]
        if not items:
            continue
        layouts = lay_out(items, bed, GAP_MM)
        theirs = box_packer(items, bed)
        if len(layouts) > theirs:
            lost.append((seed, len(layouts), theirs))
        if seed % 8 == 0:
            assert_sound(layouts, items, bed)
    assert lost == []


def test_boxes_that_fill_a_bed_to_the_end() -> None:
    """Four by three boxes of 46 x 63.3 mm with gaps of 5 mm are 199 x 199.9 mm: a bed of 209 x 209.9 with margins of
    5 mm."""
    items = [item(f"r{at:02d}", Rectangle(46, 63.3) if at % 2 else Rectangle(63.3, 46)) for at in range(12)]
    bed = Bed.rectangle(209, 209.9, 100, 5)
    layouts = lay_out(items, bed, GAP_MM)
    assert len(layouts) == 1
    assert_sound(layouts, items, bed)


def test_boxes_keep_off_areas_and_within_the_number_for_a_plate() -> None:
    bed = Bed.rectangle(220, 220, 100, 5, (Area(90, 0, 20, 60), Area(0, 170, 50.5, 50.5)))
    random = np.random.default_rng(7)
    for most in (None, 3):
        items = mix(random, only_boxes=True)
        layouts = lay_out(items, bed, GAP_MM, most)
        assert_sound(layouts, items, bed)
        assert max(len(layout.items) for layout in layouts) <= (most or len(items))
