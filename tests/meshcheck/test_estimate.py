"""Grams and minutes: closed forms for both, and what a plate must have in common with its parts."""

import math
import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from meshcheck.estimate import AUTO_SUPPORT_MM2, estimate, estimate_plate
from meshcheck.layers import cut as cutting
from meshcheck.layers.drawing import draw_layer, layer_drawing
from meshcheck.layers.shapes import part_shapes
from meshcheck.types import Estimate, Machine, Mesh, PrintSettings, Support, Unknown
from tests.meshcheck.parts import Outline, box, disc, drilled, mesh_of, wheel

MACHINE = Machine()
SOLID = PrintSettings(infill_share=1.0)
CUBE = mesh_of(box(20, 20, 20))


def figures(result: Estimate | Unknown) -> Estimate:
    assert isinstance(result, Estimate), result
    return result


def under(volume_mm3: float | Unknown, area_mm2: float = 100.0) -> Support:
    return Support(area_mm2, np.zeros(0, np.int32), volume_mm3, 0.0, 45.0)


@pytest.mark.parametrize(("material", "grams"), [("PLA", 9.920), ("PETG", 10.160), ("ABS", 8.320), ("TPU", 9.680)])
def test_a_full_20_mm_cube_weighs_8000_mm3_of_its_material(material: str, grams: float) -> None:
    result = figures(estimate(CUBE, replace(SOLID, material=material), MACHINE, None))
    assert result.mass_g == pytest.approx(grams, rel=1e-6)
    assert (result.support_g, result.raft_brim_g, result.layers) == (0.0, 0.0, 100)


def test_filament_is_all_that_is_used() -> None:
    settings = PrintSettings(brim_lines=3, support="on")
    result = figures(estimate(CUBE, settings, MACHINE, under(1000.0)))
    assert result.support_g == pytest.approx(1000 * 0.15 * 1.24 / 1000)
    # ring of 3 lines around 20 mm, one layer of 0.2
    assert result.raft_brim_g == pytest.approx(((20 + 6 * 0.42) ** 2 - 400) * 0.2 * 1.24 / 1000)
    used_mm3 = result.used_g / 1.24 * 1000
    assert result.filament_m == pytest.approx(used_mm3 / (math.pi * 1.75**2 / 4) / 1000)


def test_the_lines_of_a_full_cube_hold_its_volume() -> None:
    # every mm of line lays down width x layer; what is travelled comes on top, lines at the rim fall short
    result = figures(estimate(CUBE, SOLID, MACHINE, None))
    assert 8000 < result.path_m * 1000 * 0.42 * 0.2 < 8000 * 1.08


def _leg(length: float, speed: float, begin: float, end: float) -> float:
    """Seconds along a straight leg that reaches its speed, from one end speed to another, at 1000 mm/s2."""
    ramps = (2 * speed**2 - begin**2 - end**2) / 2000
    return (2 * speed - begin - end) / 1000 + (length - ramps) / speed


def test_the_time_of_a_hollow_box_by_hand() -> None:
    # one wall, nothing inside: a square loop of 39.58 mm a side, three corners of 90 degrees, from rest to rest
    s = math.sqrt(0.5)
    corner = math.sqrt(1000 * 0.013 * s / (1 - s))
    loops = [
        2 * _leg(39.58, speed, 0.0, corner) + 2 * _leg(39.58, speed, corner, corner)
        for speed in [20.0] + [40.0] * 49  # the first layer at 20 mm/s
    ]
    by_hand = 180 + sum(loops) + 50 * 0.3
    settings = PrintSettings(walls=1, top_layers=0, bottom_layers=0, infill_share=0.0)
    machine = replace(MACHINE, layer_minimum_s=0.0)
    result = figures(estimate(mesh_of(box(40, 40, 10)), settings, machine, None))
    assert result.duration_s == pytest.approx(by_hand, rel=1e-9)
    # layers shorter than the minimum wait for it: here all but the first
    waiting = figures(estimate(mesh_of(box(40, 40, 10)), settings, replace(machine, layer_minimum_s=6.0), None))
    assert max(loops[1:]) < 6 < loops[0]
    assert waiting.duration_s == pytest.approx(180 + loops[0] + 49 * 6 + 50 * 0.3, rel=1e-9)
    # a loop begins and ends at one place, so there is no way between layers
    assert result.path_m == pytest.approx(50 * 4 * 39.58 / 1000)


def test_cool_down_and_heat_up_are_told_apart() -> None:
    machine = replace(MACHINE, heat_up_s=300.0, cool_down_s=900.0)
    usual, slow = figures(estimate(CUBE, SOLID, MACHINE, None)), figures(estimate(CUBE, SOLID, machine, None))
    assert slow.duration_s - usual.duration_s == pytest.approx(120.0)
    assert (slow.heat_up_s, slow.cool_down_s) == (300.0, 900.0)


@pytest.mark.parametrize(
    "slower",
    [
        {"wall_mm_s": 10.0},
        {"inner_wall_mm_s": 10.0},
        {"infill_mm_s": 10.0},
        {"skin_mm_s": 10.0},
        {"first_layer_mm_s": 5.0},
        {"travel_mm_s": 30.0},
        {"acceleration_mm_s2": 300.0},
        {"junction_deviation_mm": 0.001},
        {"retraction_s": 1.0},
        {"layer_change_s": 1.0},
        {"layer_minimum_s": 120.0},
    ],
    ids=lambda change: next(iter(change)),
)
def test_everything_about_the_machine_counts(slower: dict[str, float]) -> None:
    part = mesh_of(wheel(hub_width=12))
    usual = figures(estimate(part, PrintSettings(), MACHINE, None))
    changed = figures(estimate(part, PrintSettings(), replace(MACHINE, **slower), None))
    assert changed.duration_s > usual.duration_s + 1
    assert changed.mass_g == usual.mass_g


@pytest.mark.parametrize(
    ("wish", "area_mm2", "counted"),
    [
        ("off", 100.0, False),
        ("auto", AUTO_SUPPORT_MM2, False),
        ("auto", AUTO_SUPPORT_MM2 + 0.1, True),
        ("on", 1.0, True),
    ],
)
def test_support_counts_when_it_is_wanted(wish: str, area_mm2: float, counted: bool) -> None:
    settings = replace(SOLID, support=wish)
    plain = figures(estimate(CUBE, settings, MACHINE, None))
    result = figures(estimate(CUBE, settings, MACHINE, under(2000.0, area_mm2)))
    assert result.support_g == pytest.approx(2000 * 0.15 * 1.24 / 1000 if counted else 0.0)
    assert (result.duration_s > plain.duration_s) is counted


def _without(mesh: Mesh, faces: int) -> Mesh:
    return Mesh(mesh.vertices, mesh.faces[:-faces], mesh.body[:-faces])


@pytest.mark.parametrize(
    ("mesh", "support", "because"),
    [
        (_without(CUBE, 1), None, "not closed"),
        (Mesh(CUBE.vertices, CUBE.faces[:, ::-1].copy(), CUBE.body), None, "inward"),
        (Mesh(CUBE.vertices * [1, 1, 0], CUBE.faces, CUBE.body), None, "no body"),
        (Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), np.zeros(0, np.int32)), None, "no body"),
        (CUBE, under(Unknown("it has gaps")), "it has gaps"),
    ],
    ids=["gap", "inside out", "flat", "empty", "support"],
)
def test_what_cannot_be_estimated_says_why(mesh: Mesh, support: Support | None, because: str) -> None:
    result = estimate(mesh, PrintSettings(), MACHINE, support)
    assert isinstance(result, Unknown)
    assert because in result.because


def test_a_mesh_too_fine_for_memory_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cutting, "SEGMENTS_MOST", 100)
    result = estimate(CUBE, PrintSettings(), MACHINE, None)
    assert isinstance(result, Unknown)
    assert "too fine" in result.because


def test_a_raft_adds_its_layers_and_its_grams() -> None:
    result = figures(estimate(CUBE, replace(SOLID, raft_layers=3), MACHINE, None))
    assert result.layers == 103
    assert result.mass_g == pytest.approx(9.92)
    assert result.raft_brim_g == pytest.approx(26**2 * 0.6 * 1.24 / 1000)


# ---- plates


def test_a_plate_of_one_is_the_part_wherever_it_lies() -> None:
    part = mesh_of(wheel())
    alone = figures(estimate(part, PrintSettings(), MACHINE, None))
    for x, y, turn in ((0.0, 0.0, 0.0), (110.0, 40.0, 0.0), (30.0, 170.0, 33.0)):
        plate = figures(estimate_plate([(part, x, y, turn)], PrintSettings(), MACHINE, [None]))
        assert plate.duration_s == pytest.approx(alone.duration_s, rel=1e-9)
        assert plate.mass_g == alone.mass_g


def test_copies_share_the_heat_up_and_travel_between_each_other() -> None:
    part = mesh_of(disc(15, 6))
    machine = replace(MACHINE, layer_minimum_s=0.0)
    alone = figures(estimate(part, PrintSettings(), machine, None))
    apart_mm = 60.0
    plate = figures(estimate_plate([(part, 0, 0, 0), (part, apart_mm, 0, 0)], PrintSettings(), machine, [None, None]))
    assert plate.mass_g == pytest.approx(2 * alone.mass_g)
    assert plate.layers == alone.layers == 30
    # one way across per layer: about 60 mm at 150 mm/s with a start, a stop and a retraction
    across_s = apart_mm / 150 + 150 / 1000 + 0.25
    shared_s = 180 + 30 * 0.3
    expected = 2 * (alone.duration_s - shared_s) + shared_s + 30 * across_s
    assert plate.duration_s == pytest.approx(expected, rel=0.02)
    further = figures(estimate_plate([(part, 0, 0, 0), (part, 160, 0, 0)], PrintSettings(), machine, [None, None]))
    # 100 mm more per layer; the ways are a little slanted, and all of the difference is made at 150 mm/s
    assert further.path_m - plate.path_m == pytest.approx(30 * 100 / 1000, rel=0.05)
    assert further.duration_s - plate.duration_s == pytest.approx(
        (further.path_m - plate.path_m) * 1000 / 150, rel=1e-6
    )


def test_small_parts_wait_less_together() -> None:
    # 4 mm cubes: a layer alone takes far less than the 5 s it must last, nine together do not wait
    part = mesh_of(box(4, 4, 4))
    alone = figures(estimate(part, PrintSettings(), MACHINE, None))
    assert alone.duration_s == pytest.approx(180 + 20 * (5 + 0.3))
    nine = [(part, 10.0 * (k % 3), 10.0 * (k // 3), 0.0) for k in range(9)]
    together = figures(estimate_plate(nine, PrintSettings(), MACHINE, [None] * 9))
    assert together.duration_s - 180 < 9 * (alone.duration_s - 180) / 2


def test_parts_of_different_height_and_settings_share_a_plate() -> None:
    low, high = mesh_of(disc(15, 4)), mesh_of(box(10, 10, 12))
    dense = PrintSettings(infill_share=0.5)
    plate = figures(
        estimate_plate([(low, 0, 0, 0), (high, 40, 0, 0)], [PrintSettings(), dense], MACHINE, [None, under(500.0)])
    )
    assert plate.layers == 60
    one, other = estimate(low, PrintSettings(), MACHINE, None), estimate(high, dense, MACHINE, None)
    assert plate.mass_g == pytest.approx(figures(one).mass_g + figures(other).mass_g)
    assert plate.support_g == pytest.approx(500 * 0.15 * 1.24 / 1000)


def test_equal_parts_are_worked_out_once_and_give_the_same_as_twins() -> None:
    part, twin = mesh_of(wheel()), mesh_of(wheel())
    same = figures(estimate_plate([(part, 0, 0, 0), (part, 70, 0, 90)], SOLID, MACHINE, [None, None]))
    twins = figures(estimate_plate([(part, 0, 0, 0), (twin, 70, 0, 90)], SOLID, MACHINE, [None, None]))
    assert same == twins


@pytest.mark.parametrize(
    ("placed", "wanted", "supports", "message"),
    [
        ([], SOLID, [], "at least one"),
        ([(CUBE, 0, 0, 0)], SOLID, [], "as many"),
        ([(CUBE, 0, 0, 0)] * 2, [SOLID, replace(SOLID, layer_height_mm=0.1)], [None] * 2, "share layer heights"),
        ([(CUBE, 0, 0, 0)], replace(SOLID, material="WOOD"), [None], "unknown material"),
    ],
)
def test_a_plate_that_makes_no_sense_is_refused(placed: list, wanted: object, supports: list, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        estimate_plate(placed, wanted, MACHINE, supports)


# ---- looking inside


def test_a_drawing_shows_what_is_in_the_layer() -> None:
    middle = layer_drawing(CUBE, PrintSettings(), 50)
    assert (middle.layer, middle.layers, middle.thickness_mm) == (50, 100, 0.2)
    assert middle.bottom_mm == pytest.approx(10.0)
    assert len(middle.walls) == len(middle.inner_walls) == len(middle.outline) == 1
    assert middle.fill
    assert (middle.skins, middle.raft, middle.brim) == ((), (), ())
    (wall,) = middle.walls
    assert wall[0].tolist() == wall[-1].tolist()
    assert (wall.min(), wall.max()) == pytest.approx((0.21, 19.79))
    bottom = layer_drawing(CUBE, PrintSettings(brim_lines=2), 0)
    assert bottom.skins
    assert len(bottom.brim) == 2
    assert not bottom.fill


def test_the_drawn_lines_are_those_that_are_timed() -> None:
    part, settings = mesh_of(drilled(box(30, 30, 2), 5, 48, 15, 15)), PrintSettings(raft_layers=2)
    shapes = part_shapes(part, settings)
    drawn_mm = 0.0
    for k in range(12):
        layer = draw_layer(shapes, k)
        groups = (layer.walls, layer.inner_walls, layer.skins, layer.fill, layer.raft, layer.brim)
        drawn_mm += sum(math.dist(a, b) for group in groups for line in group for a, b in pairwise(line))
    # every mm lays down width x layer; the steps from one line to the next come on top, 0.4-0.6 mm for each 20 mm
    assert 1 < drawn_mm * 0.42 * 0.2 / (shapes.volume_mm3 + shapes.raft_mm3) < 1.05
    timed = figures(estimate(part, settings, MACHINE, None))
    assert 0.9 < drawn_mm / (timed.path_m * 1000) < 1  # the rest is travel


def test_raft_layers_are_drawn_first() -> None:
    shapes = part_shapes(CUBE, PrintSettings(raft_layers=2, first_layer_mm=0.3))
    lowest, second, part = (draw_layer(shapes, k) for k in range(3))
    assert lowest.raft
    assert not lowest.outline
    assert [round(d.bottom_mm, 9) for d in (lowest, second, part)] == [0.0, 0.3, 0.5]
    assert [d.thickness_mm for d in (lowest, second, part)] == [0.3, 0.2, 0.2]
    assert part.outline
    assert part.skins


@pytest.mark.parametrize("index", [-1, 100])
def test_a_layer_that_is_not_there_is_refused(index: int) -> None:
    with pytest.raises(IndexError, match="of 100"):
        layer_drawing(CUBE, PrintSettings(), index)


@pytest.mark.bench
def test_speed_of_the_whole_estimate() -> None:
    hub = mesh_of(wheel(hub_width=12))
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 22 + 5 * np.sin(7 * turn)
    star = Outline([np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)])
    fine = mesh_of(star.extrude(100, 248, 90.0, (0.6, 0.6)))
    for name, part, runs in (("wheel", hub, 10), ("twisted star", fine, 2)):
        first = figures(estimate(part, PrintSettings(), MACHINE, None))
        started = time.process_time()
        for _ in range(runs):
            estimate(part, PrintSettings(), MACHINE, None)
        spent_ms = (time.process_time() - started) / runs * 1e3
        print(f"\n{name}: {len(part.faces):,} triangles, {first.layers} layers: {spent_ms:.0f} ms CPU")
