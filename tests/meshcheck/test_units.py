"""Judging the unit: the file's word, the gauge's hole, the kit's material, and plain size."""

from __future__ import annotations

import numpy as np
import pytest

from meshcheck.types import MM_PER_UNIT, RawMesh, Unit
from meshcheck.units import UnitJudgement, judge_unit
from tests.meshcheck.badfiles import corners_of
from tests.meshcheck.parts import wheel

WHEEL_MM = corners_of(wheel(radius=30, width=20, bore=3.2))
SMALL = [Unit.INCH, Unit.CENTIMETRE, Unit.METRE]


def drawn_in(unit: Unit, declared: Unit | None = None) -> RawMesh:
    return RawMesh(WHEEL_MM / MM_PER_UNIT[unit], "stl-binary", unit=declared)


def test_the_files_own_unit_wins() -> None:
    judged = judge_unit(drawn_in(Unit.MILLIMETRE, declared=Unit.INCH), 3.2, [3.2])
    assert judged == UnitJudgement(Unit.INCH, "The file says it is drawn in inches.")


def test_the_students_choice_wins_over_all() -> None:
    judged = judge_unit(drawn_in(Unit.INCH, declared=Unit.METRE), chosen=Unit.INCH)
    assert (judged.unit, judged.proposed) == (Unit.INCH, None)


@pytest.mark.parametrize("unit", SMALL)
def test_the_hole_tells(unit: Unit) -> None:
    judged = judge_unit(
        drawn_in(unit), gauge_hole_mm=3.2, hole_diameters=[14 / MM_PER_UNIT[unit], 3.25 / MM_PER_UNIT[unit]]
    )
    assert (judged.unit, judged.proposed) == (Unit.MILLIMETRE, unit)
    assert "3.2 mm hub hole" in judged.reason


def test_a_hole_that_fits_in_millimetres_proposes_nothing() -> None:
    judged = judge_unit(drawn_in(Unit.MILLIMETRE), 3.2, [81.28, 3.1])  # 81.28 / 25.4 = 3.2 would fit another slip
    assert judged.proposed is None
    assert "fits the 3.2 mm hub hole" in judged.reason


def test_a_changed_hole_proposes_nothing() -> None:
    judged = judge_unit(drawn_in(Unit.MILLIMETRE), 3.2, [4.5])
    assert judged == UnitJudgement(Unit.MILLIMETRE, "STL files name no unit; millimetres are assumed.")


@pytest.mark.parametrize(("scale", "words"), [(25.4, "25.4 times too large"), (10.0, "ten times too large")])
def test_a_slip_the_other_way_is_named(scale: float, words: str) -> None:
    judged = judge_unit(RawMesh(WHEEL_MM * scale, "obj"), 3.2, [3.2 * scale])
    assert judged.proposed is None
    assert words in judged.reason


@pytest.mark.parametrize("unit", SMALL)
def test_the_material_tells_where_no_hole_was_found(unit: Unit) -> None:
    scale = MM_PER_UNIT[unit]
    judged = judge_unit(drawn_in(unit), 3.2, [], reference_volume_mm3=22_700, volume=19_000 / scale**3)
    assert judged.proposed is unit
    assert "material" in judged.reason


@pytest.mark.parametrize("unit", SMALL)
def test_the_size_tells_where_nothing_else_is_known(unit: Unit) -> None:
    judged = judge_unit(drawn_in(unit), size_max_mm=(80.0, 80.0, 40.0))
    assert judged.proposed is unit
    assert "60 mm would be usual" in judged.reason


@pytest.mark.parametrize("unit", [Unit.INCH, Unit.METRE])
def test_a_crumb_is_questioned_even_without_a_kit_part(unit: Unit) -> None:
    assert judge_unit(drawn_in(unit), bed_mm=(220, 220, 250)).proposed is unit


def test_a_part_of_usual_size_is_left_alone() -> None:
    assert judge_unit(drawn_in(Unit.MILLIMETRE), size_max_mm=(80, 80, 40), bed_mm=(220, 220, 250)).proposed is None


def test_size_is_compared_in_any_position() -> None:
    lying = judge_unit(drawn_in(Unit.INCH), size_max_mm=(25.0, 62.0, 62.0)).proposed
    turned = RawMesh(np.roll(WHEEL_MM, 1, axis=2) / 25.4, "stl-binary")
    assert lying is judge_unit(turned, size_max_mm=(62.0, 25.0, 62.0)).proposed is Unit.INCH
