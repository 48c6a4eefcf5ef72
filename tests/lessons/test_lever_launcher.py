"""The lever launcher: how its parts go together, and its figures computed again."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

import demo_fixtures.build as build
from lessons.parts import STARTING_ARM, ArmDesign, launcher_arm, launcher_other_side, launcher_side
from lessons.parts.files import stl_binary
from lessons.parts.launcher import (
    ARM_MM,
    BOSS_HEIGHT_MM,
    PIVOT_UP_MM,
    ROD_MM,
    ROOM_MM,
    SIDE_MM,
    arm_solid,
    cup_outside_mm,
    rod_places,
    side_solid,
)
from lessons.science.launching import Arm, Ball, Launch, Launcher, expected_launch
from lessons.science.values import Measured, exactly
from meshcheck.check import check_part
from meshcheck.report import report_json
from meshcheck.types import Gauge, PrintSettings

LESSON: dict[str, Any] = json.loads((build.HERE / "lessons" / "lever-launcher.json").read_text("utf-8"))
EXPERIMENT = LESSON["content"]["experiment"]
LONG = ArmDesign(long_mm=88.0, short_mm=(88 / 3, 44.0, 88 / 1.5))
DESIGNS = {
    "starting arm": STARTING_ARM,
    "long arm": LONG,
    "slim arm": ArmDesign(bar_mm=10.0),
    "wasteful arm": replace(LONG, bar_mm=20.0),
}
BALL_MM = 25.0


@cache
def report(name: str) -> dict[str, Any]:
    gauge = Gauge(hole_diameter_mm=6.4, hole_depth_mm=8.0, through=True)
    mesh = launcher_arm(DESIGNS[name])
    return report_json(check_part(stl_binary(mesh), "arm.stl", gauge=gauge, settings=PrintSettings(walls=3)))


# The parts --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DESIGNS)
def test_an_arm_is_one_closed_body_with_a_hole_for_each_rod(name: str) -> None:
    """Euler number 2 - 2 g: pivot and three holes for the weight."""
    shape = trimesh.Trimesh(*launcher_arm(DESIGNS[name]), process=False)
    assert shape.is_watertight
    assert (shape.body_count, shape.euler_number) == (1, 2 - 2 * 4)


@pytest.mark.parametrize("mesh", [launcher_arm(), launcher_side(), launcher_other_side()], ids=["arm", "side", "other"])
def test_every_underside_off_the_bed_is_upright_or_looks_up(mesh: tuple[np.ndarray, np.ndarray]) -> None:
    shape = trimesh.Trimesh(*mesh, process=False)
    off_bed = (shape.triangles[:, :, 2].max(axis=1) > 1e-6) & (shape.area_faces > 1e-9)
    assert shape.face_normals[off_bed, 2].min() > -1e-4


def turned_arm(degrees: float, design: ArmDesign = STARTING_ARM) -> Manifold:
    """The arm on the pivot in the stand's frame seen from the side (x forward, y up), its long side ``degrees`` up."""
    standing = arm_solid(design).mirror((1, 0, 0))  # the long side points backward
    return standing.rotate((0, 0, -degrees)).translate((0, PIVOT_UP_MM, 0))


def rod(name: str) -> Manifold:
    x, z = rod_places()[name]
    return Manifold.cylinder(80.0, ROD_MM / 2, ROD_MM / 2, 96).translate((x, z, -30.0))


def test_the_arm_swings_freely_up_to_the_stop() -> None:
    """In steps of one degree; blocked a little beyond the angle the lesson computes with."""
    for degrees in range(-35, 45):
        assert (turned_arm(degrees) ^ rod("stop")).volume() < 0.1
    assert (turned_arm(46.5) ^ rod("stop")).volume() > 0.5


def test_the_pin_holds_the_arm_down_at_the_start() -> None:
    """The weight lifts the long side against the pin, which lies above it."""
    assert (turned_arm(-35.2) ^ rod("pin")).volume() < 0.1
    assert (turned_arm(-33.5) ^ rod("pin")).volume() > 0.5


def test_the_weight_clears_pivot_boss_and_feet() -> None:
    """Washers 30 mm across; the boss beside the hub is 14 mm, the rod of the front foot 6 mm."""
    feet = [np.array(rod_places()[name]) for name in ("front foot", "rear foot")]
    for short in STARTING_ARM.short_mm:
        assert short - 15.0 > 7.0
        for degrees in range(-35, 46):
            rise = math.radians(degrees)
            middle = np.array([short * math.cos(rise), PIVOT_UP_MM - short * math.sin(rise)])
            assert min(float(np.linalg.norm(middle - foot)) for foot in feet) > 15.0 + ROD_MM / 2
            assert middle[1] > 15.0


def test_arm_and_bosses_fill_the_room_between_the_sides_with_one_millimetre_to_spare() -> None:
    assert pytest.approx(1.0) == ROOM_MM - 2 * BOSS_HEIGHT_MM - ARM_MM
    heights = launcher_side()[0][:, 2]
    assert heights.max() == pytest.approx(SIDE_MM + BOSS_HEIGHT_MM)


def test_both_sides_meet_on_the_same_rods() -> None:
    """Laid face to face (the other side turned over), every rod goes through both."""
    other = side_solid().mirror((1, 0, 0)).rotate((0, 180, 0)).translate((0, 0, 2 * SIDE_MM + ROOM_MM))
    for name in rod_places():
        long_rod = rod(name).scale((1, 1, 3))
        assert (side_solid() ^ long_rod).volume() < 1e-6
        assert (other ^ long_rod).volume() < 1e-6
    assert (side_solid() ^ other).volume() < 1e-6


def test_the_cup_holds_the_ball_and_lets_it_leave_upward() -> None:
    ball = Manifold.sphere(BALL_MM / 2, 96).translate((STARTING_ARM.long_mm, 4.0, 2.0 + BALL_MM / 2))
    for out in (0.0, 5.0, 20.0):
        assert (arm_solid(STARTING_ARM) ^ ball.translate((0, out, 0))).volume() < 1e-6
    for aside in ((3.0, 0, 0), (-3.0, 0, 0), (0, -3.0, 0), (0, 0, -1.0)):
        assert (arm_solid(STARTING_ARM) ^ ball.translate(aside)).volume() > 1.0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"long_mm": 50.0}, "clear of the stop"),
        ({"short_mm": (20.0,)}, "clear the pivot"),
        ({"bar_mm": 6.0}, "8 mm"),
        ({"window_mm": 10.0}, "windows"),
        ({"pivot_mm": 14.0}, "hub"),
    ],
)
def test_an_arm_that_cannot_be_built_is_refused_in_plain_words(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        replace(STARTING_ARM, **changes)


# Figures, computed again ------------------------------------------------------------------------------------------


def arm_of(name: str) -> Arm:
    """From the report alone, as the lab pages have it: the ball sits where the outermost point less the cup is."""
    told = report(name)
    hole = next(hole for hole in told["holes"] if abs(hole["diameter_mm"] - 6.4) < 0.1)
    offset = np.array(told["centre_of_mass_mm"]) - np.array(hole["centre_mm"])
    mass, inertia = told["spin"]["mass_g"] / 1000, told["spin"]["inertia_g_mm2"] * 1e-9
    long = (told["spin"]["radius_mm"] - cup_outside_mm()) / 1000
    return Arm(exactly(mass), exactly(inertia), exactly(float(offset[0]) / 1000), exactly(long))


@pytest.mark.parametrize("row", EXPERIMENT["expected"]["rows"], ids=lambda row: row["arm"])
def test_the_expected_figures_follow_from_the_arm(row: dict[str, Any]) -> None:
    told, arm, model = report(row["arm"]), arm_of(row["arm"]), EXPERIMENT["model"]
    assert arm.long_m.value * 1000 == pytest.approx(DESIGNS[row["arm"]].long_mm, abs=0.2)
    assert told["mass_g"] == pytest.approx(row["mass_g"], abs=0.06)
    assert told["spin"]["inertia_g_mm2"] / 100 == pytest.approx(row["spin_inertia_g_cm2"], abs=1)
    stand = Launcher(
        exactly(model["weight_g"] / 1000), Ball(model["ball_g"] / 1000, model["ball_mm"] / 1000),
        exactly(model["pivot_mm"] / 1000), model["start_deg"], model["stop_deg"], model["weight_across_mm"] / 2000,
        Measured(model["share"], model["share_u"]),
    )  # fmt: skip
    for ratio, range_cm in row["range_cm"].items():
        launch = expected_launch(stand, arm, exactly(DESIGNS[row["arm"]].long_mm / float(ratio) / 1000))
        assert isinstance(launch, Launch)
        assert launch.range_m.value * 100 == pytest.approx(range_cm, abs=0.15)
        assert launch.range_m.uncertainty / launch.range_m.value == pytest.approx(1 / 9, abs=0.01)
        assert launch.energy_j < 0.005  # a soft ball with less than 5 mJ


def test_the_notes_are_right() -> None:
    start, long = (row["range_cm"] for row in EXPERIMENT["expected"]["rows"][:2])
    line = start["1.5"] + (start["3"] - start["1.5"]) / 3
    notes = " ".join(EXPERIMENT["expected"]["notes"])
    assert f"gives {line:.1f} cm for ratio 2; the formula gives {start['2']:.1f} cm" in notes
    assert f"{long['3'] - start['3']:.1f} cm further" in notes
    assert 2.776 * 2.0 * math.sqrt(2 / 3) == pytest.approx(4.5, abs=0.05)  # t(0.975, 4) of FACTS 4
    assert math.degrees(math.atan(2 / 36)) == pytest.approx(3, abs=0.2)


def test_the_limits_hold_the_starting_arm_and_refuse_a_wasteful_one() -> None:
    limits = LESSON["limits"]
    start, wasteful = report("starting arm"), report("wasteful arm")
    assert start["mass_g"] < limits["mass_max_g"] < wasteful["mass_g"]
    assert max(start["duration_s"], wasteful["duration_s"]) < limits["duration_max_s"]
    assert f"{start['mass_g']:.1f} g and {start['duration_s'] / 60:.0f} min" in limits["why"]
    assert f"{wasteful['mass_g']:.1f} g" in limits["why"]
