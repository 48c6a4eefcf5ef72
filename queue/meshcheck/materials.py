"""The filaments the room may hold, and how grams turn into metres of filament.

Densities come from data sheets of resin makers (named with each row); nozzle and bed ranges are merged from
public charts and only a start: the label on the spool and the maker's instructions come first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from meshcheck.types import Material

_DIAMETER_MM = 1.75

_TABLE = (
    Material(
        code="PLA",
        name="PLA (polylactic acid)",
        density_g_cm3=1.24,
        filament_diameter_mm=_DIAMETER_MM,
        nozzle_c=(190, 220),
        bed_c=(20, 60),
        source="ASTM D792; data sheets of Ingeo 4043D, 3051D and 2003D",
    ),
    Material(
        code="PETG",
        name="PETG (glycol-modified polyester)",
        density_g_cm3=1.27,
        filament_diameter_mm=_DIAMETER_MM,
        nozzle_c=(220, 250),
        bed_c=(60, 90),
        source="ASTM D792; data sheets of Eastar GN046 and GN071",
    ),
    Material(
        code="ABS",
        name="ABS (acrylonitrile butadiene styrene)",
        density_g_cm3=1.04,
        filament_diameter_mm=_DIAMETER_MM,
        nozzle_c=(220, 260),
        bed_c=(90, 110),
        source="ISO 1183, ASTM D1505; data sheets of Terluran GP-35 and GP-22",
    ),
    Material(
        code="TPU",
        name="TPU (flexible polyurethane, ester type, about 95 Shore A)",
        density_g_cm3=1.21,
        filament_diameter_mm=_DIAMETER_MM,
        nozzle_c=(220, 250),
        bed_c=(20, 60),
        source="ISO 1183; data sheets of Texin 245 (1.21) and Elastollan S 90 A (1.23)",
    ),
)

MATERIALS: Mapping[str, Material] = MappingProxyType({material.code: material for material in _TABLE})


def filament_m(mass_g: float, material: Material) -> float:
    """Metres of filament that weigh ``mass_g``: mass over density over the filament's cross-section.

    ValueError when the mass is negative or not finite.
    """
    if not (math.isfinite(mass_g) and mass_g >= 0):
        raise ValueError(f"a mass must be a number of grams, zero or more, not {mass_g}")
    section_mm2 = math.pi * material.filament_diameter_mm**2 / 4
    volume_mm3 = mass_g / material.density_g_cm3 * 1000
    return volume_mm3 / section_mm2 / 1000
