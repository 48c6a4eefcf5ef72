"""In which unit a file was drawn: what the file says, else what the part itself tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshcheck.types import MM_PER_UNIT, RawMesh, Unit, Vector
from telling import told

SMALL_IN_MM = (Unit.INCH, Unit.CENTIMETRE, Unit.METRE)  # units whose numbers look too small when taken as mm

# A student may change a hole by some per cent and still have meant the same unit; the units are at least a factor
# 2.5 apart, so a wide band cannot confuse them.
HOLE_SHARE = 0.10
VOLUME_FACTOR = 2.0  # a redesign rarely has less than half or more than double the material of the kit's part
CRUMB_MM = 3.0  # a whole part below this is too small to be meant (our limit: the smallest kit parts are larger)
CRUMB_SHARE = 1 / 8  # of the largest size allowed: a part in centimetres shows a tenth of its size

# Too large by one of these: not a unit of ours, but a slip at export that can be named.
_TOO_LARGE = (
    (25.4, "25.4 times too large, as if millimetres had been exported as inches"),
    (10.0, "ten times too large, as if millimetres had been exported as centimetres"),
)


@dataclass(frozen=True, slots=True)
class UnitJudgement:
    """``unit`` is the one the figures are taken in, ``reason`` says why in plain words, and ``proposed`` is set when
    another one fits the part better: the page offers to read the same file again in it."""

    unit: Unit
    reason: str
    proposed: Unit | None = None


def judge_unit(
    raw: RawMesh,
    gauge_hole_mm: float | None = None,
    hole_diameters: Sequence[float] | None = None,
    reference_volume_mm3: float | None = None,
    volume: float | None = None,
    size_max_mm: Vector | None = None,
    bed_mm: Vector | None = None,
    chosen: Unit | None = None,
) -> UnitJudgement:
    """Judge the unit of a file, before or after its holes are known.

    ``hole_diameters`` and ``volume`` are measured in the file's own numbers (taken as mm); None means not measured.
    A unit the student ``chosen`` wins, then the file's own; else millimetres are assumed, and another unit is
    proposed when the gauge's hole, the kit part's volume, or the size (in this order) fits that unit and not mm.
    """
    if chosen is not None:
        return UnitJudgement(chosen, told("Read in {unit}, as you chose.", unit=_named(chosen)))
    if raw.unit is not None:
        return UnitJudgement(raw.unit, told("The file says it is drawn in {unit}.", unit=_named(raw.unit)))
    assumed = told("{kind} files name no unit; millimetres are assumed", kind=raw.format.split("-")[0].upper())
    found = (
        _by_hole(gauge_hole_mm, hole_diameters)
        or _by_volume(reference_volume_mm3, volume)
        or _by_size(_sorted_size(raw), size_max_mm, bed_mm)
    )
    if found is None:
        return UnitJudgement(Unit.MILLIMETRE, told("{assumed}.", assumed=assumed))
    proposed, why = found
    if proposed is Unit.MILLIMETRE:
        return UnitJudgement(Unit.MILLIMETRE, told("{assumed}: {why}.", assumed=assumed, why=why))
    return UnitJudgement(
        Unit.MILLIMETRE,
        told("{assumed}, but {why}: it was probably drawn in {unit}.", assumed=assumed, why=why, unit=_named(proposed)),
        proposed,
    )


UNIT_NAMES = {
    Unit.MILLIMETRE: "millimetres",
    Unit.INCH: "inches",
    Unit.CENTIMETRE: "centimetres",
    Unit.METRE: "metres",
    Unit.MICRON: "microns",
    Unit.FOOT: "feet",
}


def _by_hole(gauge_mm: float | None, diameters: Sequence[float] | None) -> tuple[Unit, str] | None:
    if gauge_mm is None or not diameters:
        return None
    for unit in (Unit.MILLIMETRE, *SMALL_IN_MM, Unit.MICRON):
        for diameter in diameters:
            if _near(diameter * MM_PER_UNIT[unit], gauge_mm):
                return (
                    unit,
                    told(
                        "a hole of {found:.3g} {unit} fits the {wanted:.3g} mm hub hole",
                        found=diameter,
                        unit=_named(unit),
                        wanted=gauge_mm,
                    ),
                )
    for scale, words in _TOO_LARGE:
        if any(_near(diameter / scale, gauge_mm) for diameter in diameters):
            return Unit.MILLIMETRE, told("its hub hole is {times}", times=told(words))
    return None


def _near(measured_mm: float, wanted_mm: float) -> bool:
    return abs(measured_mm - wanted_mm) <= HOLE_SHARE * wanted_mm


def _by_volume(reference_mm3: float | None, volume: float | None) -> tuple[Unit, str] | None:
    if reference_mm3 is None or volume is None or volume <= 0:
        return None
    for unit in (Unit.MILLIMETRE, *SMALL_IN_MM, Unit.MICRON):
        if 1 / VOLUME_FACTOR <= volume * MM_PER_UNIT[unit] ** 3 / reference_mm3 <= VOLUME_FACTOR:
            return unit, told("in {unit} it has about as much material as the kit's own part", unit=_named(unit))
    return None


def _by_size(size: list[float], size_max_mm: Vector | None, bed_mm: Vector | None) -> tuple[Unit, str] | None:
    """Plausibility: a crumb in mm that is a part of usual size in another unit; the largest that fits is proposed."""
    limit = sorted(size_max_mm or bed_mm or (200.0, 200.0, 200.0))
    crumb_mm = max(CRUMB_MM, limit[-1] * CRUMB_SHARE) if size_max_mm else CRUMB_MM
    if size[-1] >= crumb_mm:
        return None
    for unit in sorted(SMALL_IN_MM, key=MM_PER_UNIT.__getitem__, reverse=True):
        scaled = [extent * MM_PER_UNIT[unit] for extent in size]
        if scaled[-1] >= crumb_mm and all(extent <= top for extent, top in zip(scaled, limit, strict=True)):
            return unit, told(
                "{found:.3g} mm across is a crumb, while {usual:.3g} mm would be usual",
                found=size[-1],
                usual=scaled[-1],
            )
    return None


def _sorted_size(raw: RawMesh) -> list[float]:
    corners = raw.triangles.reshape(-1, 3)
    return sorted(float(extent) for extent in np.ptp(corners, axis=0))


def _named(unit: Unit) -> str:
    return told(UNIT_NAMES[unit])
