"""Filaments: the check value fil-1 (computed: density x pi d^2 / 4) and the table itself."""

import math
from dataclasses import replace

import pytest

from meshcheck.materials import MATERIALS, filament_m


@pytest.mark.parametrize(
    ("diameter_mm", "grams_per_metre"),
    # fil-1: 1.24 g/cm3 x pi/4 x d^2, in g per metre
    [(1.75, 2.9825), (2.85, 7.9105)],
)
def test_one_metre_of_pla_weighs_fil_1(diameter_mm: float, grams_per_metre: float) -> None:
    pla = replace(MATERIALS["PLA"], filament_diameter_mm=diameter_mm)
    assert filament_m(grams_per_metre, pla) == pytest.approx(1.0, abs=2e-5)


def test_one_kilogram_of_pla_is_335_28_metres() -> None:
    assert filament_m(1000.0, MATERIALS["PLA"]) == pytest.approx(335.28, abs=0.005)


@pytest.mark.parametrize(
    ("code", "grams_per_metre"), [("PLA", 2.9825), ("PETG", 3.0547), ("ABS", 2.5015), ("TPU", 2.9104)]
)
def test_every_material_has_the_grams_per_metre_of_its_data_sheet_density(code: str, grams_per_metre: float) -> None:
    assert 1 / filament_m(1.0, MATERIALS[code]) == pytest.approx(grams_per_metre, abs=6e-5)


def test_the_table_is_in_order_and_cannot_be_changed() -> None:
    for code, material in MATERIALS.items():
        assert material.code == code
        assert material.source
        assert material.nozzle_c[0] < material.nozzle_c[1]
        assert material.bed_c[0] < material.bed_c[1]
    with pytest.raises(TypeError):
        MATERIALS["PLA"] = MATERIALS["ABS"]  # type: ignore[index]


@pytest.mark.parametrize("mass_g", [-1.0, math.nan, math.inf])
def test_a_mass_that_is_no_mass_is_refused(mass_g: float) -> None:
    with pytest.raises(ValueError, match="grams"):
        filament_m(mass_g, MATERIALS["PLA"])
