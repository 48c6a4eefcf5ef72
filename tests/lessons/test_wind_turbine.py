"""The wind turbine: how its parts go together, and its figures computed again."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
import trimesh
from manifold3d import Manifold

import demo_fixtures.build as build
from lessons.parts import STARTING_BLADE, BladeDesign, pitch_gauge, turbine_blade, turbine_hub, turbine_nacelle
from lessons.parts.files import stl_binary
from lessons.parts.turbine import PITCHES_DEG, rotor_solids, slot_middle, swept_tip_mm
from lessons.science.turbine import (
    Generator,
    best_pitch_deg,
    expected_volts,
    plain_rotor,
    power_share,
    pull_on_blade_n,
    steady_turning,
)
from meshcheck.check import check_part
from meshcheck.report import report_json
from meshcheck.types import Gauge, PrintSettings
from tests.lessons.test_parts import solid_of

LESSON: dict[str, Any] = json.loads((build.HERE / "lessons" / "wind-turbine.json").read_text("utf-8"))
EXPERIMENT = LESSON["content"]["experiment"]
DESIGNS = {
    "starting": STARTING_BLADE,
    "tapered": BladeDesign(tip_chord_mm=14.0),
    "fills the box": BladeDesign(98.0, 25.0, 25.0, 2.4),
}
PARTS = {"blade": turbine_blade, "hub": turbine_hub, "gauge": pitch_gauge, "nacelle": turbine_nacelle}


@cache
def report(name: str) -> dict[str, Any]:
    gauge = Gauge(hole_diameter_mm=4.2, hole_depth_mm=20.0, through=False)
    settings = PrintSettings(walls=3, support="off")
    return report_json(
        check_part(stl_binary(turbine_blade(DESIGNS[name])), "blade.stl", gauge=gauge, settings=settings)
    )


@pytest.mark.parametrize("name", PARTS)
def test_a_part_is_one_closed_body_on_the_bed(name: str) -> None:
    shape = trimesh.Trimesh(*PARTS[name](), process=False)
    assert shape.is_watertight
    assert shape.body_count == 1
    assert shape.bounds[0, 2] == 0.0


@pytest.mark.parametrize("name", ["hub", "gauge", "nacelle"])
def test_a_part_of_the_kit_needs_no_support(name: str) -> None:
    shape = trimesh.Trimesh(*PARTS[name](), process=False)
    off_bed = (shape.triangles[:, :, 2].max(axis=1) > 1e-6) & (shape.area_faces > 1e-9)
    assert shape.face_normals[off_bed, 2].min() > -0.01  # slivers of rounding


def test_the_only_steep_underside_of_a_blade_is_the_roof_of_its_rod_hole() -> None:
    """A quarter of the hole looks down more steeply than 45 degrees: pi d / 4 x depth = 66 mm2, 3.0 mm wide, a short
    bridge (10 mm is safe: FACTS 3)."""
    assert report("starting")["overhang_area_mm2"] == pytest.approx(math.pi * 4.2 / 4 * 20, rel=0.03)
    assert 4.2 * math.sin(math.radians(45)) < 10


@pytest.mark.parametrize("name", DESIGNS)
def test_the_rotor_goes_together_at_every_pitch(name: str) -> None:
    for pitch in (0, *PITCHES_DEG):
        solids = rotor_solids(DESIGNS[name], pitch)
        for index, (first, one) in enumerate(solids):
            for second, two in solids[index + 1 :]:
                limit = 3.0 if {"half"} & {first.split()[-1], second.split()[-1]} else 1e-6
                assert (one ^ two).volume() < limit, f"{first} runs into {second} at {pitch} degrees"


def test_the_halves_press_on_a_rod_of_4_mm_before_they_meet() -> None:
    """Together the grooves are 3.8 mm high (1.9 mm each) where the rod is 4.0 mm thick: 0.2 mm between the halves."""
    under = dict(rotor_solids())["lower half"]
    rod = Manifold.cylinder(12.0, 2.0, 2.0, 96).rotate((0, 90, 0)).translate((7.0, 0, 18.0 + 8.0))
    assert (under ^ rod).volume() > 0.5  # joint closed: it would have to bite
    assert (under ^ rod.translate((0, 0, 0.12))).volume() < 0.05


@pytest.mark.parametrize("index", range(4))
def test_the_pitch_gauge_slides_over_a_blade_at_its_pitch_and_at_no_other(index: int) -> None:
    """The gauge stands on the table, 90 mm out from the shaft, across the blade; the hub lies on an 18 mm board."""
    pitch = PITCHES_DEG[index]
    middle = slot_middle(index)
    under = 3.0 * math.sin(math.radians(pitch))
    gauge = solid_of(pitch_gauge()).translate((-(middle[0] - under), 0, 0))
    standing = gauge.rotate((90, 0, 0)).rotate((0, 0, 90)).translate((90.0, 0, 0))
    blade = dict(rotor_solids(pitch_deg=pitch))["blade 0"]
    assert (standing ^ blade).volume() < 1e-6
    for wrong in (-5, 5):
        other = dict(rotor_solids(pitch_deg=pitch + wrong))["blade 0"]
        assert (standing ^ other).volume() > 1.0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"span_mm": 30.0}, "longer than its root"),
        ({"tip_chord_mm": 8.0}, "12 mm wide"),
        ({"root_chord_mm": 30.0}, "pitch gauge"),
        ({"plate_mm": 3.0}, "thick"),
        ({"rod_hole_mm": 6.0}, "1.5 mm of root"),
    ],
)
def test_a_blade_that_cannot_be_built_is_refused_in_plain_words(changes: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        replace(STARTING_BLADE, **changes)


@pytest.mark.parametrize("row", EXPERIMENT["expected"]["rows"], ids=lambda row: f"{row['wind_m_s']} m/s")
def test_the_computed_trend_stands_as_computed(row: dict[str, Any]) -> None:
    for pitch, volts in row["volts"].items():
        assert expected_volts(float(pitch), Generator(), row["wind_m_s"]) == pytest.approx(volts, abs=0.006)
    best = row["best_pitch_deg"]
    around = [expected_volts(best + step, Generator(), row["wind_m_s"]) for step in (-1, 0, 1)]
    assert max(around) == around[1]
    assert best == best_pitch_deg(Generator(), row["wind_m_s"])


def test_the_notes_are_right() -> None:
    notes = " ".join(EXPERIMENT["expected"]["notes"])
    fast = EXPERIMENT["expected"]["rows"][1]["volts"]
    assert f"gives {(fast['20'] + fast['40']) / 2:.2f} V for 30 degrees" in notes
    turning = steady_turning(plain_rotor(10), Generator(), 3.5)
    assert isinstance(turning, float)
    told = report("starting")
    pull = pull_on_blade_n(told["mass_g"] / 1000, (22 + told["centre_of_mass_mm"][0]) / 1000, turning)
    assert f"{turning:.0f} rad/s, its tips at {turning * 0.1:.0f} m/s" in notes
    assert f"with {pull:.0f} N" in notes
    assert 50 / pull > 4
    assert swept_tip_mm() == EXPERIMENT["model"]["tip_mm"]
    best = max(power_share(plain_rotor(10), ratio / 4) for ratio in range(4, 22))
    assert f"{100 * best:.0f} in 100" in notes


def test_the_limits_hold_the_starting_blade_and_refuse_a_wasteful_one() -> None:
    limits = LESSON["limits"]
    start, wasteful = report("starting"), report("fills the box")
    assert start["mass_g"] < limits["mass_max_g"] < wasteful["mass_g"]
    assert max(start["duration_s"], wasteful["duration_s"]) < limits["duration_max_s"]
    assert f"{start['mass_g']:.1f} g and {start['duration_s'] / 60:.0f} min" in limits["why"]
    assert f"{wasteful['mass_g']:.1f} g" in limits["why"]
