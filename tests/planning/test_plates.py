"""Plate layout against an independent geometry library (shapely) and against counts that can be reasoned out."""

from __future__ import annotations

import math
from time import perf_counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from planning import plates
from planning.plates import ItemsDoNotFit, lay_out, misfits
from planning.types import Area, Bed, Circle, Footprint, Hull, Item, PlateLayout, Rectangle, Shape

BED = Bed.rectangle(220, 220, 250)
GAP_MM = 5.0


def item(name: str, footprint: Footprint, **more: object) -> Item:
    settings_: dict[str, object] = {"material": "PLA", "colour": "red"} | more
    return Item(name, Shape(footprint, 10.0), **settings_)  # type: ignore[arg-type]


def wheels(count: int, seed: int = 0) -> list[Item]:
    """Wheels of 60 to 80 mm across."""
    sizes = np.round(np.random.default_rng(seed).uniform(60, 80, count), 1)
    return [item(f"wheel{at:03d}", Circle(float(size) / 2)) for at, size in enumerate(sizes)]


def chassis(count: int) -> list[Item]:
    return [item(f"chassis{at:03d}", Rectangle(150, 70)) for at in range(count)]


def outline(footprint: Footprint) -> shapely.Polygon:
    if isinstance(footprint, Circle):
        # A polygon of 256 sides whose sides touch the circle: it holds the whole disc.
        return shapely.Point(0, 0).buffer(footprint.radius_mm / math.cos(math.pi / 256), quad_segs=64)
    if isinstance(footprint, Rectangle):
        w, d = footprint.width_mm / 2, footprint.depth_mm / 2
        return shapely.box(-w, -d, w, d)
    hull = shapely.MultiPoint(footprint.points_mm).convex_hull
    x0, y0, x1, y1 = hull.bounds
    return affinity.translate(hull, -(x0 + x1) / 2, -(y0 + y1) / 2)


def placed(layout: PlateLayout, items: dict[str, Item]) -> list[shapely.Polygon]:
    return [
        affinity.translate(
            affinity.rotate(outline(items[spot.item_id].shape.footprint), spot.turn_deg, origin=(0, 0)),
            spot.x_mm,
            spot.y_mm,
        )
        for spot in layout.items
    ]


def assert_sound(layouts: tuple[PlateLayout, ...], items: list[Item], bed: Bed, gap_mm: float = GAP_MM) -> None:
    """Everything placed once, inside the margin, apart by the gap, off the keep-outs, one material and colour each."""
    by_id = {each.id: each for each in items}
    assert sorted(spot.item_id for layout in layouts for spot in layout.items) == sorted(by_id)
    blocks = [shapely.box(a.x_mm, a.y_mm, a.x_mm + a.width_mm, a.y_mm + a.depth_mm) for a in bed.keep_out]
    inside = shapely.box(0, 0, bed.width_mm, bed.depth_mm).buffer(-bed.margin_mm, join_style="mitre")
    if bed.is_round:
        inside = shapely.Point(bed.width_mm / 2, bed.width_mm / 2).buffer(bed.width_mm / 2 - bed.margin_mm, 512)
    for layout in layouts:
        assert {(by_id[s.item_id].material, by_id[s.item_id].colour) for s in layout.items} == {
            (layout.material, layout.colour)
        }
        shapes = placed(layout, by_id)
        for at, shape in enumerate(shapes):
            assert shape.difference(inside.buffer(0.02)).area == 0
            for other in shapes[:at] + blocks:
                assert shape.distance(other) >= gap_mm - 0.02, "circles are drawn 0.006 mm too large here"


def test_wheels_of_a_whole_class_in_nineteen_plates() -> None:
    items = wheels(120)
    layouts = lay_out(items, BED)
    assert len(layouts) <= 19
    assert_sound(layouts, items, BED)


def test_wheels_and_chassis_in_thirty_two_plates_and_half_a_second() -> None:
    items = wheels(120) + chassis(30)
    lay_out(items[:2], BED)
    began = perf_counter()
    layouts = lay_out(items, BED)
    print(f"150 parts laid out in {perf_counter() - began:.2f} s on {len(layouts)} plates")
    assert len(layouts) <= 32
    assert_sound(layouts, items, BED)


def test_nine_wheels_of_60_mm_fit_one_bed_and_ten_do_not() -> None:
    """Ten discs of 60 mm with 5 mm gaps are ten discs of 65 mm in a square of 215 mm. The densest known packing of ten
    equal circles in a square has side / radius = 6.747 (E. Specht, packomania; from memory), and 215 / 32.5 = 6.615."""
    nine = [item(f"w{at}", Circle(30)) for at in range(9)]
    assert len(lay_out(nine, BED)) == 1
    ten = [*nine, item("w9", Circle(30))]
    assert len(lay_out(ten, BED)) == 2


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_any_mix_on_any_bed_keeps_its_gaps(seed: int) -> None:
    random = np.random.default_rng(seed)
    gap = float(random.choice([0.0, 2.0, 5.0]))
    margin = float(random.choice([0.0, 5.0]))
    size = float(random.uniform(150, 250))
    block = () if random.random() < 0.5 else (Area(size * 0.4, size * 0.4, 15.0, 25.0),)
    bed = (
        Bed.circle(size, 200, margin, block) if random.random() < 0.5 else Bed.rectangle(size, 200, 200, margin, block)
    )
    items = []
    for at in range(int(random.integers(1, 25))):
        kind = random.integers(0, 3)
        a, b = (float(value) for value in random.uniform(8, 55, 2))
        if kind == 0:
            footprint: Footprint = Circle(a / 2)
        elif kind == 1:
            footprint = Rectangle(a, b)
        else:
            points = random.normal((a, b), 12, (8, 2))
            footprint = Hull(tuple((float(x), float(y)) for x, y in points))
        items.append(item(f"i{at:02d}", footprint, colour=str(random.choice(["red", "blue"]))))
    fitting = [each for each in items if each.id not in {misfit.item_id for misfit in misfits(items, bed, gap)}]
    assert_sound(lay_out(fitting, bed, gap, seed=seed), fitting, bed, gap)


def test_rectangles_are_turned_where_that_helps() -> None:
    layouts = lay_out([item(f"r{at}", Rectangle(200, 60)) for at in range(3)], Bed.rectangle(200, 215, 100, 5))
    assert len(layouts) == 1
    assert {spot.turn_deg for spot in layouts[0].items} == {90.0}


def test_a_slanting_hull_lies_straight() -> None:
    """A 100 x 20 strip drawn at 30 degrees is laid along an axis: the part's own corners prove it."""
    turn = math.radians(30)
    corners = [(-50, -10), (50, -10), (50, 10), (-50, 10)]
    strip = Hull(
        tuple(
            (x * math.cos(turn) - y * math.sin(turn) + 7, x * math.sin(turn) + y * math.cos(turn)) for x, y in corners
        )
    )
    spots = lay_out([item("s", strip)], BED)
    x0, y0, x1, y1 = placed(spots[0], {"s": item("s", strip)})[0].bounds
    assert sorted((round(x1 - x0, 6), round(y1 - y0, 6))) == [20, 100]
    assert spots[0].used_area_mm2 == pytest.approx(2000)


def test_limits_per_plate_and_colours() -> None:
    items = [item(f"w{at}", Circle(10), colour="red" if at % 2 else "blue") for at in range(20)]
    layouts = lay_out(items, BED, per_plate_max=4)
    assert sorted(len(layout.items) for layout in layouts) == [2, 2, 4, 4, 4, 4]
    assert_sound(layouts, items, BED)


def test_kits_stay_together_where_they_fit() -> None:
    items = [item(f"w{at:02d}", Circle(33), kit_id=f"team{at // 4}") for at in range(24)]
    plates_of: dict[str, set[int]] = {}
    for number, layout in enumerate(lay_out(items, BED, kit_aligned=True)):
        for spot in layout.items:
            plates_of.setdefault(f"team{int(spot.item_id[1:]) // 4}", set()).add(number)
    assert all(len(plates) == 1 for plates in plates_of.values())
    big = [item(f"b{at:02d}", Circle(50), kit_id="team") for at in range(6)]
    assert len(lay_out(big, BED, kit_aligned=True)) > 1, "six wheels of 100 mm cannot stand on one bed"


def test_the_same_items_give_the_same_plates_in_any_order() -> None:
    items = wheels(30, seed=4) + chassis(4)
    assert lay_out(items, BED) == lay_out(items[::-1], BED)


@pytest.mark.parametrize("kit_aligned", [True, False])
def test_orders_left_out_as_alike_would_have_changed_nothing(kit_aligned: bool, monkeypatch) -> None:
    """Every order filled, against those filled once: a class's kits are alike, its spares are not."""
    random = np.random.default_rng(5)
    hull = Hull(((0, 0), (50, 0), (60, 30), (20, 55)))
    kit = (Circle(30), Circle(30), Rectangle(150, 70), hull)
    items = [item(f"{team}-{n}", each, kit_id=str(team)) for team in range(12) for n, each in enumerate(kit)]
    items += [item(f"spare {n}", Rectangle(*random.uniform(20, 90, 2))) for n in range(6)]
    filled = []
    before = plates.Packing.fill
    monkeypatch.setattr(plates.Packing, "fill", lambda *args: filled.append(1) or before(*args))
    quick = lay_out(items, BED, GAP_MM, 8, kit_aligned)
    few, filled[:] = len(filled), []
    monkeypatch.setattr(plates, "_kinds_of", lambda outlines, groups: np.arange(len(groups)))
    assert lay_out(items, BED, GAP_MM, 8, kit_aligned) == quick
    assert few < len(filled) or not kit_aligned


@pytest.mark.parametrize(
    ("footprint", "bed", "because"),
    [
        (Rectangle(240, 70), BED, "240.0 x 70.0 mm; the bed has room for 210 x 210 mm"),
        (Circle(110), BED, "220.0 mm across"),
        (Circle(100), Bed.circle(200, 100), "a circle of 190 mm"),
        (Rectangle(140, 140), Bed.circle(200, 100), "140.0 x 140.0 mm"),
        (Circle(60), Bed.rectangle(220, 220, 250, 5, (Area(100, 100, 20, 20),)), "around the areas kept free"),
    ],
)
def test_what_cannot_stand_on_the_bed_is_said(footprint: Footprint, bed: Bed, because: str) -> None:
    part = item("part", footprint)
    assert because in misfits([part], bed)[0].reason
    with pytest.raises(ItemsDoNotFit) as caught:
        lay_out([part], bed)
    assert caught.value.misfits == misfits([part], bed)


def test_a_part_that_is_too_tall() -> None:
    tall = Item("t", Shape(Circle(10), 260.0), "PLA", "red")
    assert misfits([tall], BED)[0].reason == "It is 260.0 mm tall; the printer makes parts up to 250.0 mm."
    assert misfits([Item("t", Shape(Circle(10), 250.0), "PLA", "red")], BED) == ()


def test_parts_that_just_fit_do_fit() -> None:
    assert misfits([item("a", Rectangle(210, 210)), item("b", Circle(105))], BED) == ()
    assert misfits([item("c", Circle(95))], Bed.circle(200, 100)) == ()
    side = 190 / math.sqrt(2)
    assert misfits([item("d", Rectangle(side - 1e-4, side - 1e-4))], Bed.circle(200, 100)) == ()


def test_nothing_gives_nothing_and_nonsense_is_refused() -> None:
    assert lay_out([], BED) == ()
    with pytest.raises(ValueError, match="same id"):
        lay_out([item("a", Circle(5)), item("a", Circle(5))], BED)
    with pytest.raises(ValueError, match="gap"):
        lay_out([item("a", Circle(5))], BED, gap_mm=-1)
    with pytest.raises(ValueError, match="no area"):
        lay_out([item("a", Hull(((0, 0), (1, 1), (2, 2))))], BED)
