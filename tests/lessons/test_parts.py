"""The mail cart's parts: closed forms, a second library (trimesh), and whether the pieces really go together."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, JoinType, Manifold, Mesh64

from lessons.parts import (
    STARTING_WHEEL,
    WheelDesign,
    assembled_cart,
    axle_gauge,
    axle_holder,
    chassis,
    wheel,
    wheel_set,
)
from lessons.parts import cart as cart_module
from lessons.parts.solids import MeshArrays, canonical
from lessons.parts.wheel import LOWER_EDGE_MM, UPPER_EDGE_MM, bore_solid, rim_solid, wheel_solid

KIT = {"chassis": chassis, "wheel": wheel, "axle_holder": axle_holder, "axle_gauge": axle_gauge}

DESIGNS = {
    "starting": STARTING_WHEEL,
    "eight spokes": WheelDesign(spokes=8, spoke_width_mm=3.0, rim_mm=3.0),
    "three curved": WheelDesign(spokes=3, spoke_shape="curved"),
    "curved backward": WheelDesign(spoke_shape="curved", spoke_sweep_deg=-50.0, spoke_width_mm=3.0),
    "largest": WheelDesign(radius_mm=35.0, width_mm=12.0, spoke_height_mm=8.0),
    "smallest": WheelDesign(radius_mm=15.0, rim_mm=3.0, spoke_width_mm=3.0, width_mm=6.0, spoke_height_mm=6.0),
    "web and spokes": WheelDesign(web_mm=2.0, spokes=4, spoke_width_mm=3.0),
    "windows": WheelDesign(spokes=0, web_mm=2.4, rim_mm=3.0, windows=6, window_diameter_mm=11.0),
    "groove": WheelDesign(groove_mm=1.5),
}


def solid_of(mesh: MeshArrays) -> Manifold:
    vertices, faces = mesh
    solid = Manifold(Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces.astype(np.uint64))))
    assert solid.volume() > 0
    return solid


def second_opinion(mesh: MeshArrays) -> trimesh.Trimesh:
    return trimesh.Trimesh(*mesh, process=False)


def steepest_underside_deg(mesh: MeshArrays) -> float:
    """Largest angle from vertical of a downward face that does not lie on the bed; 0 when there is none."""
    shape = second_opinion(mesh)
    on_bed = shape.triangles[:, :, 2].max(axis=1) < 1e-6
    down = -shape.face_normals[:, 2][~on_bed & (shape.area_faces > 1e-9)]
    return math.degrees(math.asin(max(0.0, float(down.max()))))


def polygon_share(facets: int) -> float:
    """Area of a regular polygon over that of the circle through its corners: n/(2 pi) sin(2 pi/n), closed form."""
    return facets / (2 * math.pi) * math.sin(2 * math.pi / facets)


@pytest.mark.parametrize("name", KIT)
def test_a_kit_part_is_one_closed_body_standing_on_the_bed(name: str) -> None:
    vertices, faces = KIT[name]()
    assert (vertices.dtype, vertices.shape[1]) == (np.float64, 3)
    assert (faces.dtype, faces.shape[1]) == (np.int32, 3)
    shape = second_opinion((vertices, faces))
    assert shape.is_watertight
    assert shape.is_winding_consistent
    assert shape.volume > 0
    assert shape.body_count == 1
    assert vertices[:, 2].min() == 0.0


@pytest.mark.parametrize("name", KIT)
def test_a_kit_part_needs_no_support(name: str) -> None:
    # 45 degrees from vertical: FACTS 3, Mazlan 2020; one degree to spare.
    assert steepest_underside_deg(KIT[name]()) < 44.0


@pytest.mark.parametrize("name", KIT)
def test_walls_of_a_kit_part_are_at_least_1_2_mm(name: str) -> None:
    """Opening of sections by 1.2 mm: what a disc of that width cannot reach is a thin wall (1.2 mm: FACTS 3).

    Corners that the disc cannot fill are slivers below 0.1 mm and fall away in the second opening.
    """
    solid = solid_of(KIT[name]())
    heights = np.linspace(0.05, KIT[name]()[0][:, 2].max() - 0.55, 25)
    for height in heights:
        section = solid.slice(float(height))
        reached = section.offset(-0.595, JoinType.Miter, 4.0).offset(0.6, JoinType.Miter, 4.0)
        thin = (section - reached).offset(-0.1, JoinType.Miter, 4.0).offset(0.1, JoinType.Miter, 4.0)
        assert thin.area() < 0.02, f"thin wall at {height:.2f} mm"


def test_the_wall_check_would_see_a_thin_wall() -> None:
    thin_spokes = solid_of(wheel(replace(STARTING_WHEEL, spoke_width_mm=1.0))).slice(4.0)
    reached = thin_spokes.offset(-0.595, JoinType.Miter, 4.0).offset(0.6, JoinType.Miter, 4.0)
    assert (thin_spokes - reached).area() > 50


@pytest.mark.parametrize(
    ("name", "size_mm"),
    [("chassis", (150, 70, 15)), ("wheel", (60, 60, 8)), ("axle_holder", (16, 26.6, 15)), ("axle_gauge", (50, 14, 16))],
)
def test_sizes_are_as_the_docstrings_say(name: str, size_mm: tuple[float, ...]) -> None:
    assert second_opinion(KIT[name]()).extents == pytest.approx(size_mm, abs=1e-3)


def test_the_starting_wheel_has_the_measures_of_the_drawing() -> None:
    """my-parts.html: hole 3.2, hub 14 across and 8.0 wide, size box 70 x 70 x 12."""
    design = STARTING_WHEEL
    assert (design.bore_mm, design.hub_diameter_mm, design.hub_width_mm, 2 * design.radius_mm) == (3.2, 14, 8, 60)
    assert 2000 <= len(wheel()[1]) <= 8000


def test_the_hole_takes_away_a_polygon_prism() -> None:
    """Regular polygon of n corners: n/2 r^2 sin(2 pi/n); times the hub's width."""
    with_hole = second_opinion(wheel()).volume
    without = second_opinion(wheel(replace(STARTING_WHEEL, bore_filled=True))).volume
    expected = polygon_share(96) * math.pi * 1.6**2 * 8.0
    assert without - with_hole == pytest.approx(expected, abs=2e-3)
    assert bore_solid(STARTING_WHEEL).volume() == pytest.approx(expected / 8.0 * 32.0, rel=1e-9)


def test_the_hole_sits_at_the_centre_and_a_rod_passes() -> None:
    vertices, _ = wheel()
    hole = vertices[np.hypot(vertices[:, 0], vertices[:, 1]) < 3.0]
    radius = np.hypot(hole[:, 0], hole[:, 1])
    assert len(hole) == 2 * 96
    assert hole[:, :2].mean(axis=0) == pytest.approx((0, 0), abs=1e-5)
    assert radius == pytest.approx(np.full(192, 1.6), abs=1e-4)
    assert {*np.round(hole[:, 2], 4)} == {0.0, 8.0}  # through
    free_mm = 3.2 * math.cos(math.pi / 96)  # chord of the polygon: the largest round bar that passes
    assert 3.15 < free_mm < 3.30


def test_the_rim_has_the_volume_of_its_turned_profile() -> None:
    """A turned part of n facets has polygon_share(n) of the round one; chamfers by Pappus (area x 2 pi x centroid)."""
    ring = math.pi * (30**2 - 25**2) * 8

    def corner(inward: float, upward: float) -> float:
        return inward * upward / 2 * 2 * math.pi * (30 - inward / 3)

    expected = (ring - corner(*LOWER_EDGE_MM) - corner(*UPPER_EDGE_MM)) * polygon_share(128)
    assert rim_solid(STARTING_WHEEL).volume() == pytest.approx(expected, rel=1e-6)


def test_the_volume_lies_between_its_pieces_and_the_full_disc() -> None:
    volume = second_opinion(wheel()).volume
    pieces = rim_solid(STARTING_WHEEL).volume() + polygon_share(96) * math.pi * (7**2 - 1.6**2) * 8
    assert pieces + 5 * 6 * 8 * 17.5 < volume < pieces + 5 * 6 * 8 * 18.6
    assert volume < math.pi * 30**2 * 8


@pytest.mark.parametrize("name", DESIGNS)
def test_any_design_gives_a_closed_wheel_with_the_right_number_of_openings(name: str) -> None:
    """Euler number 2 - 2 g, where g counts the hole and every opening between spokes or window."""
    design = DESIGNS[name]
    shape = second_opinion(wheel(design))
    openings = design.windows if design.web_mm else design.spokes
    assert shape.is_watertight
    assert shape.is_winding_consistent
    assert shape.euler_number == 2 - 2 * (1 + openings)
    assert shape.extents[0] == pytest.approx(2 * design.radius_mm, abs=2e-3 * design.radius_mm)
    assert steepest_underside_deg(wheel(design)) < 45.0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"bore_mm": 14.0}, "smaller than the hub"),
        ({"radius_mm": 10.0}, "no room for spokes"),
        ({"spokes": 0}, "spokes or a web"),
        ({"bore_facets": 6}, "12 facets"),
        ({"groove_mm": 4.5}, "1.2 mm of rim"),
        ({"groove_mm": 2.4}, "wider than its groove"),
        ({"windows": 3, "window_diameter_mm": 30.0, "web_mm": 2.0}, "windows must leave"),
        ({"width_mm": 1.0}, "wider than its chamfers"),
        ({"rim_mm": 0.0}, "need a thickness"),
    ],
)
def test_a_wheel_that_cannot_be_built_is_refused_in_plain_words(changes: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        replace(STARTING_WHEEL, **changes)


def test_a_set_is_four_equal_wheels_that_do_not_touch() -> None:
    bodies = solid_of(wheel_set()).decompose()
    one = solid_of(wheel()).volume()
    assert [body.volume() for body in bodies] == pytest.approx([one] * 4, rel=1e-9)
    for a, b in itertools.combinations(bodies, 2):
        assert a.min_gap(b, 10.0) > 3.9


def test_the_order_of_vertices_and_faces_depends_on_the_shape_alone() -> None:
    vertices, faces = wheel()
    shuffled = np.random.default_rng(7).permutation(len(vertices))
    turned = np.roll(np.argsort(shuffled)[faces], 1, axis=1)[::-1]
    again = canonical(vertices[shuffled], turned.astype(np.int64))
    assert np.array_equal(again[0], vertices)
    assert np.array_equal(again[1], faces)


# How the parts go together ---------------------------------------------------------------------------------------

WIDEST = WheelDesign(radius_mm=35.0, width_mm=12.0)  # fills the size box of the gauge


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("design", [STARTING_WHEEL, WIDEST], ids=["starting", "widest"])
def test_no_two_parts_of_the_cart_run_into_each_other(design: WheelDesign, turned: bool) -> None:
    parts = [(p.name, solid_of((p.vertices, p.faces))) for p in assembled_cart(design, wheel_turned=turned)]
    assert len(parts) == 1 + 4 + 4 + 2
    for (name, solid), (other_name, other) in itertools.combinations(parts, 2):
        assert (solid ^ other).volume() < 1e-9, f"{name} runs into {other_name}"


def in_place(name: str) -> Manifold:
    return next(solid_of((p.vertices, p.faces)) for p in assembled_cart() if p.name == name)


def overlap_mm3(shift_mm: tuple[float, float, float]) -> float:
    """How far the front right holder, moved from its seat, runs into the chassis."""
    return float((in_place("chassis") ^ in_place("holder front right").translate(shift_mm)).volume())


@pytest.mark.parametrize("axis", [0, 1])
def test_the_holder_has_0_15_mm_on_each_side_of_its_socket(axis: int) -> None:
    for side in (-1, 1):
        free, stuck = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]
        free[axis], stuck[axis] = side * 0.149, side * 0.16
        assert overlap_mm3((free[0], free[1], free[2])) < 1e-9
        assert overlap_mm3((stuck[0], stuck[1], stuck[2])) > 1e-3


def test_the_holder_carries_the_load_and_its_barbs_keep_it_in() -> None:
    assert overlap_mm3((0, 0, 0.05)) > 1.0  # shoulder against the underside
    assert overlap_mm3((0, 0, -0.19)) < 1e-9  # 0.2 mm of play under the barbs
    assert overlap_mm3((0, 0, -0.5)) > 1.0


def test_a_prong_bends_less_than_two_per_cent() -> None:
    """End-loaded beam: largest strain 3 t y / (2 L^2). 2 % once for PLA: common practice, no source."""
    length = cart_module.SOCKET_HEIGHT_MM + 0.4
    bend = cart_module.BARB_MM - cart_module.SOCKET_CLEARANCE_MM / 2
    assert 3 * cart_module.PRONG_MM * bend / (2 * length**2) < 0.02


def test_the_cart_stands_level_and_its_weight_is_between_the_wheels() -> None:
    parts = assembled_cart()
    wheels = [p for p in parts if p.name.startswith("wheel")]
    assert [p.vertices[:, 2].min() for p in wheels] == pytest.approx([-30.0] * 4, abs=1e-6)
    others = np.vstack([p.vertices for p in parts if not p.name.startswith("wheel")])
    assert others[:, 2].min() + 30.0 > 20.0  # clear of the track
    body = second_opinion(chassis()).center_mass
    assert abs(body[0]) < 0.01
    assert abs(body[1]) < 0.01
    foot = np.array([(p.vertices.min(axis=0) + p.vertices.max(axis=0)) / 2 for p in wheels])
    assert np.ptp(foot[:, 0]) == pytest.approx(110, abs=0.01)
    assert np.ptp(foot[:, 1]) > 70


def test_rods_reach_through_both_wheels_with_room_for_a_stop() -> None:
    parts = {p.name: p for p in assembled_cart()}
    outside = parts["wheel front left"].vertices[:, 1].max()
    assert parts["rod front"].vertices[:, 1].max() - outside > 6.0


@pytest.mark.parametrize(("bar_mm", "turns"), [(3.0, True), (3.39, True), (3.45, False)])
def test_only_a_bar_thinner_than_the_running_hole_turns_in_the_holder(bar_mm: float, turns: bool) -> None:
    bar = CrossSection.circle(bar_mm / 2, 256).extrude(40).translate((0, 0, -10))
    assert ((solid_of(axle_holder()) ^ bar).volume() < 1e-9) is turns


def test_the_load_tray_takes_forty_coins() -> None:
    """US five-cent coin: 21.21 mm across, 1.95 mm thick, 5.000 g (from memory, no source read): 200 g is 40 coins."""
    coin_mm, thick_mm = 21.21, 1.95
    layer = int(cart_module.TRAY_LENGTH_MM // coin_mm) * int(cart_module.TRAY_WIDTH_MM // coin_mm)
    assert math.ceil(40 / layer) * thick_mm <= cart_module.TRAY_DEPTH_MM


# The gauge -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hole_mm", "go_enters", "no_go_enters"),
    [(3.10, False, False), (3.20, True, False), (3.28, True, False), (3.36, True, True)],
)
def test_the_gauge_tells_a_good_hole_from_a_bad_one(hole_mm: float, go_enters: bool, no_go_enters: bool) -> None:
    """The limits of 3.2 +0.10 -0.05 mm: go at the smallest, no-go at the largest hole allowed (Taylor's principle)."""
    tried = wheel_solid(replace(STARTING_WHEEL, bore_mm=hole_mm)).translate((0, 0, 4.0))
    gauge = solid_of(axle_gauge())
    for pin_x, enters in ((-18.0, go_enters), (18.0, no_go_enters)):
        pin = gauge.translate((-pin_x, 0, 0)) ^ Manifold.cylinder(40.0, 4.0).translate((0, 0, 4.0))
        assert ((tried ^ pin).volume() < 1e-9) is enters


def test_the_go_pin_is_longer_than_the_hub_and_the_limits_are_the_kits() -> None:
    heights = axle_gauge()[0]
    go = heights[heights[:, 0] < -15, 2].max() - 4.0
    no_go = heights[heights[:, 0] > 15, 2].max() - 4.0
    assert go > STARTING_WHEEL.hub_width_mm > no_go
    assert pytest.approx((3.2 - 0.05, 3.2 + 0.10)) == (cart_module.GO_MM, cart_module.NO_GO_MM)
