"""Gaps, margins and areas kept free against an independent geometry library (shapely)."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from planning.clearance import Rule, body_of, breaches, difference, distance_mm, free_place, room_mm, signed_distance
from planning.types import Area, Bed, Circle, Footprint, Hull, PlacedItem, Rectangle
from tests.planning.test_plates import outline

BED = Bed.rectangle(220, 220, 250)
GAP_MM = 5.0
# shapely draws a circle of radius r as a polygon around it, at most r (1 / cos(pi / 256) - 1) outside: 0.003 mm at 40
DRAWN_MM = 0.004


def any_footprint(random: np.random.Generator) -> Footprint:
    kind = random.integers(0, 3)
    a, b = (float(value) for value in random.uniform(8, 60, 2))
    if kind == 0:
        return Circle(a / 2)
    if kind == 1:
        return Rectangle(a, b)
    return Hull(tuple((float(x), float(y)) for x, y in random.normal((a, b), 14, (9, 2))))


def standing(footprint: Footprint, spot: PlacedItem) -> shapely.Polygon:
    turned = affinity.rotate(outline(footprint), spot.turn_deg, origin=(0, 0))
    return affinity.translate(turned, spot.x_mm, spot.y_mm)


def some(random: np.random.Generator, name: str) -> PlacedItem:
    x, y = random.uniform(-70, 70, 2)
    return PlacedItem(name, float(x), float(y), float(random.uniform(0, 360)))


@settings(max_examples=300, deadline=None)
@given(st.integers(0, 10**6))
def test_distance_is_what_shapely_says(seed: int) -> None:
    random = np.random.default_rng(seed)
    one, other = any_footprint(random), any_footprint(random)
    at, there = some(random, "a"), some(random, "b")
    truth = standing(one, at).distance(standing(other, there))
    found = distance_mm(
        body_of(one, at.turn_deg), body_of(other, there.turn_deg), there.x_mm - at.x_mm, there.y_mm - at.y_mm
    )
    assert max(0.0, found) == pytest.approx(truth, abs=2 * DRAWN_MM)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_two_that_overlap_are_apart_after_the_shift_told(seed: int) -> None:
    """The negative distance is the least shift: shifted by it in the best direction they just touch, by shapely."""
    random = np.random.default_rng(seed)
    one, other = any_footprint(random), any_footprint(random)
    at, there = PlacedItem("a", 0, 0, 20.0), PlacedItem("b", *(float(v) for v in random.uniform(-8, 8, 2)), 75.0)
    found = distance_mm(body_of(one, 20.0), body_of(other, 75.0), there.x_mm, there.y_mm)
    if found >= -0.05:
        return
    still, moving = standing(one, at), standing(other, there)
    directions = np.linspace(0, 2 * math.pi, 361)
    shifted = [affinity.translate(moving, -found * math.cos(a), -found * math.sin(a)) for a in directions]
    assert min(still.intersection(each).area for each in shifted) < 0.1
    shorter = [affinity.translate(moving, -0.8 * found * math.cos(a), -0.8 * found * math.sin(a)) for a in directions]
    assert all(still.intersects(each) for each in shorter)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_room_to_the_margin_is_what_shapely_says(seed: int) -> None:
    random = np.random.default_rng(seed)
    footprint = any_footprint(random)
    bed = Bed.circle(200, 200, 6) if random.random() < 0.5 else Bed.rectangle(220, 180, 200, 6)
    spot = PlacedItem("a", *(float(v) for v in random.uniform(0, 200, 2)), float(random.uniform(0, 360)))
    room = room_mm(body_of(footprint, spot.turn_deg), spot.x_mm, spot.y_mm, bed)
    inside = shapely.box(6, 6, 214, 174)
    if bed.is_round:
        inside = shapely.Point(100, 100).buffer(94, quad_segs=512)
    part = standing(footprint, spot)
    if room > DRAWN_MM:
        assert inside.covers(part)
        assert inside.exterior.distance(part) == pytest.approx(room, abs=2 * DRAWN_MM)
    if room < -2 * DRAWN_MM:
        assert not inside.covers(part)


def test_a_difference_worked_by_hand() -> None:
    """Two squares of side 2: their centres may not come nearer than a square of side 4."""
    square = ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))
    corners = difference(square, square)
    assert set(corners) >= {(-2.0, -2.0), (2.0, -2.0), (2.0, 2.0), (-2.0, 2.0)}
    assert signed_distance(corners, 5.0, 6.0) == pytest.approx(5.0)  # 3 beside, 4 behind: 3-4-5
    assert signed_distance(corners, 1.5, 0.0) == pytest.approx(-0.5)


def test_breaches_by_name() -> None:
    wheel, plank = Circle(30), Rectangle(60, 20)
    shapes: dict[str, Footprint] = {"w": wheel, "v": wheel, "p": plank}
    apart = [PlacedItem("w", 40, 40), PlacedItem("v", 105, 40), PlacedItem("p", 60, 110, 90)]
    assert breaches(apart, shapes, BED, GAP_MM) == ()
    near = [PlacedItem("w", 40, 40), PlacedItem("v", 103, 40)]
    assert [(b.rule, b.item_ids, round(b.distance_mm, 6)) for b in breaches(near, shapes, BED, GAP_MM)] == [
        (Rule.GAP, ("w", "v"), 3.0)
    ]
    on_top = breaches([PlacedItem("w", 40, 40), PlacedItem("v", 80, 40)], shapes, BED, GAP_MM)
    assert [(b.rule, b.distance_mm) for b in on_top] == [(Rule.OVERLAP, 0.0)]
    over = breaches([PlacedItem("w", 33, 40)], shapes, BED, GAP_MM)
    assert [(b.rule, round(b.distance_mm, 6)) for b in over] == [(Rule.EDGE, 2.0)]
    clip = Bed.rectangle(220, 220, 250, 5, (Area(100, 0, 20, 10),))
    kept = breaches([PlacedItem("w", 110, 43)], shapes, clip, GAP_MM)
    assert [(b.rule, round(b.distance_mm, 6)) for b in kept] == [(Rule.KEPT_FREE, 3.0)]


def test_a_rectangle_turned_by_45_degrees_is_judged_by_its_own_corners() -> None:
    """A square of 20 stands on its corner: 14.14 mm from centre to corner, so 24 mm from a corner ahead of it and 24
    to a square beside it, whose side is 10 from its centre."""
    shapes: dict[str, Footprint] = {"a": Rectangle(20, 20), "b": Rectangle(20, 20)}
    far = [PlacedItem("a", 50, 50), PlacedItem("b", 50 + 10 + 5 + 10 * math.sqrt(2), 50, 45)]
    assert breaches(far, shapes, BED, GAP_MM) == ()
    near = [far[0], PlacedItem("b", far[1].x_mm - 0.01, 50, 45)]
    assert [b.rule for b in breaches(near, shapes, BED, GAP_MM)] == [Rule.GAP]


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6))
def test_a_free_place_is_free_and_none_means_none(seed: int) -> None:
    random = np.random.default_rng(seed)
    bed = Bed.circle(160, 200, 4) if random.random() < 0.5 else Bed.rectangle(150, 120, 200, 4, (Area(70, 0, 15, 15),))
    shapes: dict[str, Footprint] = {}
    placed: list[PlacedItem] = []
    for at in range(14):
        name = f"c{at}"
        shapes[name] = any_footprint(random)
        spot = free_place(name, placed, shapes, bed, 3.0)
        if spot is None:
            body = body_of(shapes[name], 0.0)
            for x, y in random.uniform(0, 150, (60, 2)):  # and no whole millimetre is free either
                tried = PlacedItem(name, float(round(x)), float(round(y)), 0.0)
                assert room_mm(body, tried.x_mm, tried.y_mm, bed) < 0 or breaches([*placed, tried], shapes, bed, 3.0)
            continue
        placed.append(spot)
        assert breaches(placed, shapes, bed, 3.0) == ()
    assert placed
