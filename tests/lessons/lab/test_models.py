"""What each model expects, by hand: figures of a part as its check reports them, constants as the plan gives them."""

from __future__ import annotations

import copy
import math
from typing import Any

import numpy as np
import pytest

from lessons.lab.experiment import Experiment, ExperimentError, read_experiment
from lessons.lab.models import expected, has_model
from lessons.lab.models.answer import Expected
from lessons.lab.part_figures import figures_of
from lessons.lab.parts import LabPart
from lessons.lab.units import converts, factor
from lessons.science.values import Measured, exactly
from makerlab.demo import fixtures

PLANS = {plan["code"]: plan["content"]["experiment"] for plan in fixtures.lesson_plans()}
HEIGHTS = np.linspace(0.0, 30.0, 161)
BOX = {"heights_mm": list(HEIGHTS), "areas_mm2": [5000.0] * 161, "rounds_mm": [300.0] * 161, "open_below_mm2": 0.0}


def lesson(code: str, **changes: Any) -> Experiment:
    raw = copy.deepcopy(PLANS[code])
    raw["model"] |= changes
    found = read_experiment({"experiment": raw})
    assert found is not None
    return found


def answer(what: Experiment, part: LabPart | None, loads: dict[float, Measured] | None = None) -> Expected:
    return expected(what, part, loads or {value: exactly(value) for value in what.values})


def hull(mass_g: float = 25.0, **outside: Any) -> LabPart:
    return LabPart("box", mass_g, size_mm=(100.0, 50.0, 30.0), facts={"outside": {**BOX, **outside}})


# A hull -----------------------------------------------------------------------------------------------------------


def test_a_box_floats_as_archimedes_says() -> None:
    """100 x 50 x 30 mm, 25 g, mast 5 g, 40 g of load: (25 + 5 + 40) / 0.998 = 70.14 cm3 over 50 cm2 are 14.03 mm of
    draught, 15.97 mm of freeboard. Archimedes' principle: OpenStax University Physics volume 1, section 14.4.

    Uncertainty: 3 % of the hull is 0.75 g, mast and load 0.5 g each: 1.031 g or 0.2066 mm; water 0.002 x 14.03 =
    0.028 mm; walls 0.1 mm out or in, 2 x 0.1 x (1/100 + 1/50) = 0.006 of 14.03 = 0.084 mm; together 0.225 mm."""
    found = answer(lesson("cargo-hull", mast_g=5.0), hull())
    value = found.known[40]
    assert value.value == pytest.approx(30 - 70 / 0.998 / 5, abs=1e-6)
    assert value.value == pytest.approx(15.97, abs=0.005)
    assert value.uncertainty == pytest.approx(0.225, abs=0.001)
    assert "120 ± 1" in found.told[0].title.replace("\u00a0", " ")  # 150 cm3 x 0.998 - 25 - 5 = 119.7 g


def test_a_weighed_load_counts_and_another_unit_too() -> None:
    """38 g on the balance instead of 40 g: 2 / 0.998 / 5 = 0.40 mm more; in cm a tenth."""
    what = lesson("cargo-hull", mast_g=5.0)
    assert answer(what, hull(), {40.0: Measured(38.0, 0.3)}).known[40].value == pytest.approx(15.97 + 0.40, abs=0.005)
    raw = copy.deepcopy(PLANS["cargo-hull"])
    raw["measured"]["unit"], raw["changed"] = (
        "cm",
        {**raw["changed"], "unit": "kg", "tried": [0, 0.08], "predicted": 0.04},
    )
    in_cm = read_experiment({"experiment": raw})
    assert in_cm is not None
    plain = answer(lesson("cargo-hull"), hull()).known[40].value
    assert answer(in_cm, hull()).known[0.04].value == pytest.approx(plain / 10)


def test_a_hull_that_sinks_leaks_or_was_not_measured_says_so() -> None:
    what = lesson("cargo-hull")
    assert "it sinks" in answer(what, hull(160.0)).without.lower()
    assert "open on its underside" in answer(what, hull(open_below_mm2=900.0)).without
    assert "measured again" in answer(what, LabPart("old", 25.0)).without
    assert "not measured yet" in answer(what, None).without


def test_the_edge_is_where_water_comes_in_not_where_a_mast_ends() -> None:
    """A mast of 20 mm2 stands 15 mm over the 15 mm high sides: the edge is at 15 mm, and 42.9 g draw 8.6 mm."""
    areas = [5000.0 if height <= 15 else 20.0 for height in HEIGHTS]
    found = answer(lesson("cargo-hull", mast_g=0.0), hull(areas_mm2=areas)).known
    assert found[0].value == pytest.approx(15 - 25 / 0.998 / 5, abs=0.1)


# A launcher -------------------------------------------------------------------------------------------------------

ARM = {"mass_g": 20.0, "inertia_g_mm2": 50_000.0, "radius_mm": 115.0, "centre_along_mm": 20.0, "upright": True}
STAND = {
    "weight_g": 1000, "weight_across_mm": 0, "ball_g": 50, "ball_mm": 10, "pivot_mm": 100, "start_deg": 30,
    "stop_deg": 45, "cup_outside_mm": 15, "share": 1.0, "share_u": 0.0,
}  # fmt: skip


def test_a_throw_by_hand() -> None:
    """a = 115 - 15 = 100 mm, ratio 2: b = 50 mm. S = sin 30 + sin 45 = 1.20711; M b - m a - m_arm c = 0.05 - 0.005 -
    0.0004 = 0.0446 kg m; E = 9.80665 x 1.20711 x 0.0446 = 0.52796 J; I + M b2 + m a2 = 3.05e-3 kg m2;
    w = sqrt(2 E / 3.05e-3) = 18.607 /s, v = 1.8607 m/s at 45 degrees from 0.1 + 0.0707 m; x = 1.3157 / g (1.3157 +
    sqrt(1.3157^2 + 2 g 0.17071)) = 0.4789 m, less 0.0707 m behind the pivot: 40.8 cm. Drag of so small and heavy a ball
    is below 0.1 %. Energy of rotation: OpenStax University Physics volume 1, section 10.4; projectiles: section 4.3."""
    found = answer(lesson("lever-launcher", **STAND), LabPart("arm", 20.0, facts={"spin": ARM})).known[2]
    assert found.value == pytest.approx(40.8, abs=0.1)
    assert 0 < found.uncertainty < 0.02 * found.value


def test_the_uncertain_share_of_energy_is_told_and_carried() -> None:
    found = answer(lesson("lever-launcher"), LabPart("arm", 20.0, facts={"spin": ARM}))
    assert found.known[2].uncertainty / found.known[2].value > 0.05
    assert "0.85 ± 0.1" in found.told[0].text


def test_an_arm_without_a_pivot_or_too_short_says_so() -> None:
    what = lesson("lever-launcher")
    assert "one pivot hole" in answer(what, LabPart("arm", 20.0)).without
    assert "ends before" in answer(what, LabPart("arm", 20.0, facts={"spin": {**ARM, "radius_mm": 10.0}})).without
    heavy = {**ARM, "mass_g": 2000.0, "centre_along_mm": 50.0}
    assert "too light" in answer(what, LabPart("arm", 2000.0, facts={"spin": heavy})).without


# A hoist ----------------------------------------------------------------------------------------------------------


def drum(spool_mm: float, flange_mm: float = 120.0, **spin: Any) -> LabPart:
    """By the length of a string around it: flanges 2 mm thick at both ends."""
    rounds = [spool_mm if 2 < height < 28 else flange_mm for height in HEIGHTS]
    facts = {"outside": {**BOX, "rounds_mm": rounds}, "spin": {"upright": True, **spin}}
    return LabPart("drum", 9.0, facts=facts)


def test_a_square_spool_winds_up_its_four_sides() -> None:
    """Sides of 20 mm: a turn of thin string is 80 mm; with 1 mm string (80 + pi) mm. 0.5 m at ratio 1.5 and one turn a
    second: 500 x 1.5 / 83.142 = 9.02 s. Force at a 45 mm handle for 300 g: 0.3 x 9.80665 x 83.142 / (2 pi) / 45 =
    0.865 N at ratio 1. (A turn winds up the length of the string's middle line: textbook mechanics.)"""
    found = answer(lesson("hand-crank-hoist"), drum(80.0))
    assert found.known[1.5].value == pytest.approx(500 * 1.5 / (80 + math.pi), rel=1e-6)
    assert found.known[1.5].value == pytest.approx(9.02, abs=0.005)
    assert found.known[1.5].uncertainty == pytest.approx(0.03 * 9.02, rel=0.1)  # the beat is the largest part
    assert "0.87 N at 1;" in found.told[0].text


def test_a_drum_without_groove_lying_down_or_too_full_says_so() -> None:
    what = lesson("hand-crank-hoist")
    assert "No straight spool" in answer(what, drum(80.0, 80.0)).without
    assert "does not stand" in answer(what, drum(80.0, upright=False)).without
    assert "winds over itself" in answer(lesson("hand-crank-hoist", height_m=5.0), drum(80.0)).without
    cone = drum(80.0)
    cone.facts["outside"]["rounds_mm"] = [120.0 if h < 2 or h > 28 else 40.0 + 2 * h for h in HEIGHTS]
    assert "No straight spool" in answer(what, cone).without


# A turbine, units, and the lessons themselves ---------------------------------------------------------------------


def test_a_turbine_gives_a_trend_and_no_volts() -> None:
    """Less and less beyond a small best pitch, whatever the wind: tests/lessons/science/test_turbine.py."""
    found = answer(lesson("wind-turbine"), LabPart("blade", 5.0, size_mm=(24.0, 77.0, 8.0)))
    assert found.known == {}
    assert "not known well enough" in found.without
    names = found.told[0].text.replace("\u00a0", " ")
    assert "10 deg, 20 deg, 30 deg, 40 deg" in names


@pytest.mark.parametrize(
    ("unit", "other", "times"), [("kg", "g", 1000.0), ("min", "s", 60.0), ("cm", "m", 0.01), ("", "", 1.0)]
)
def test_a_unit_converts_by_its_factor(unit: str, other: str, times: float) -> None:
    assert converts(unit, other)
    assert factor(unit, other) == pytest.approx(times)


@pytest.mark.parametrize(
    ("unit", "other"), [("g", "s"), ("", "deg"), ("degC", "K"), ("degC", "degF"), ("nonsense", "g")]
)
def test_what_is_no_plain_factor_does_not_convert(unit: str, other: str) -> None:
    assert not converts(unit, other)
    with pytest.raises(ValueError, match="does not convert"):
        factor(unit, other)


@pytest.mark.parametrize(
    ("code", "changes", "said"),
    [
        ("cargo-hull", {"model": {"kind": "magic"}}, "no model we know"),
        ("cargo-hull", {"model": 3}, "table of fields"),
        ("cargo-hull", {"cart": {"body_g": 50}}, "one model"),
        ("cargo-hull", {"measured": {"name": "time", "unit": "s"}}, "needs what is measured in mm"),
        ("lever-launcher", {"model": {"kind": "launcher"}}, "needs a figure: Falling weight, g"),
        ("cargo-hull", {"model": {"kind": "hull", "water_g_per_cm3": 13.6}}, "from 0.9 to 1.3"),
        ("coasting-mail-cart", {"model": {"kind": "rolling"}, "cart": None}, "needs its mass without wheels"),
    ],
)
def test_a_model_that_cannot_be_computed_is_refused(code: str, changes: dict[str, Any], said: str) -> None:
    with pytest.raises(ExperimentError, match=said):
        read_experiment({"experiment": {**PLANS[code], **changes}})


@pytest.mark.parametrize("code", PLANS)
def test_every_lesson_names_a_model_and_its_figures(code: str) -> None:
    what = read_experiment({"experiment": PLANS[code]})
    assert what is not None
    assert has_model(what)
    labels = [each.label for each in figures_of(what)]
    assert labels[0] == "Mass"
    assert len(labels) == len(set(labels))
