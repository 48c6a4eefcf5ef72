"""Whether a file of machine words belongs to a plate, fits its printer and suits its material."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from meshcheck.gcode.facts import Box, GcodeFacts
from meshcheck.types import Finding, Level, Material, Scale
from telling import chained, told

_PREPARE = "Prepare the plate's own file again, with the same parts and print settings, and upload that."


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a file may be from the plate and still be taken for it (common practice, no source).

    Layers round a part's height by up to a layer, and brim, walls and infill differ between programs: grams are only
    told to be near, size closely, and time only within a factor: speeds are the printer's own, but words read in the
    wrong way (milliseconds for seconds) are far off.
    """

    height_mm: float = 0.6
    grams_share: float = 0.35
    grams: float = 1.0
    extents_mm: float = 2.0
    time_factor: float = 3.0


def belongs_to_plate(
    facts: GcodeFacts,
    height_mm: float,
    grams: float,
    extents_mm: tuple[float, float],
    tolerance: Tolerance | None = None,
) -> tuple[Finding, ...]:
    """Whether height, grams and extents are those of the plate; each statement passes or must be fixed.

    ``height_mm`` of the tallest part, ``grams`` of everything that leaves the spool, ``extents_mm`` of the box around
    all parts in x and y; a file may have the plate turned by a quarter. What lies only on the lowest layer (brim,
    priming lines) is left out of the file's extents.
    """
    allowed = tolerance or Tolerance()
    box = facts.upper or facts.printed
    if box is None:
        return (
            _finding(False, "gcode_lays_nothing", told("The file lays down no material"), told("0 g"), told(_PREPARE)),
        )
    spread_g = max(allowed.grams, allowed.grams_share * grams)
    return (
        _measured("gcode_height", told("height"), facts.height_mm, height_mm, allowed.height_mm, "mm"),
        _measured("gcode_grams", told("filament"), facts.mass_g, grams, spread_g, "g"),
        _extents(box, extents_mm, allowed.extents_mm),
    )


def takes_as_long(facts: GcodeFacts, duration_s: float, tolerance: Tolerance | None = None) -> tuple[Finding, ...]:
    """Whether the file takes about as long as the plate's own estimate, ``duration_s``."""
    factor = (tolerance or Tolerance()).time_factor
    near = duration_s / factor <= facts.duration_s <= duration_s * factor
    title = told("The time is of the plate's size" if near else "The time is far from the plate's")
    found, wanted = facts.duration_s / 60, duration_s / 60
    words = "{found:.0f} min, the plate {wanted:.0f} min, allowed 1/{factor:g} to {factor:g} times"
    figure = told(words, found=found, wanted=wanted, factor=factor)
    mend = told("Check that the right reading of words is set for this printer, and the speeds of its kind.")
    return (_finding(near, "gcode_time", title, figure, mend),)


def fits_bed(facts: GcodeFacts, lowest_mm: tuple[float, float, float], highest_mm: tuple[float, float, float]) -> tuple[
    Finding, ...
]:  # fmt: skip
    """Whether all that is laid down lies within the printer's box, and whether the head leaves it on the way."""
    bed = Box(lowest_mm, highest_mm)
    found = []
    if facts.printed is not None:
        inside = _inside(facts.printed, bed)
        title = told("Everything is laid down on the bed" if inside else "The file prints beyond the bed")
        found.append(_finding(inside, "gcode_on_bed", title, _corners(facts.printed, bed), told(_PREPARE)))
    if facts.moved is not None and not _inside(facts.moved, bed):
        figure = _corners(facts.moved, bed)
        why = told("Some printers park or clean there. Compare with the maker's instructions before starting it.")
        found.append(Finding("gcode_leaves_bed", Level.ADVICE, told("The head moves beyond the bed"), figure, why))
    return tuple(found)


def suits_material(facts: GcodeFacts, material: Material) -> tuple[Finding, ...]:
    """Whether the temperatures asked for are those of the material. The spool's label comes first."""
    return tuple(_temperatures(facts, material))


def _temperatures(facts: GcodeFacts, material: Material) -> Iterator[Finding]:
    source = told("ranges of public charts; the label on the spool comes first")
    for code, what, asked, (low, high) in (
        ("gcode_nozzle", told("nozzle"), facts.nozzle_c, material.nozzle_c),
        ("gcode_bed", told("bed"), facts.bed_c, material.bed_c),
    ):
        if asked is None:
            title = told("The file does not heat the {what}", what=what)
            yield Finding(
                code, Level.ADVICE, title, told("usual {low} to {high} °C", low=low, high=high), limit_source=source
            )
            continue
        level = Level.PASSES if low <= asked <= high else Level.MUST_FIX
        title = told("The {what} is heated as {material} needs it", what=what, material=material.code)
        if level is Level.MUST_FIX:
            words = "The {what} is heated for another material than {material}"
            title = told(words, what=what, material=material.code)
        yield Finding(
            code,
            level,
            title,
            told("{asked:.0f} °C, usual {low} to {high} °C", asked=asked, low=low, high=high),
            why=told("Too cold does not stick; too hot burns the plastic and gives off more fumes."),
            mend=told(_PREPARE),
            limit_source=source,
            scale=Scale(asked, float(low), float(high), "°C", 0),
        )


def _measured(code: str, what: str, found: float, wanted: float, spread: float, unit: str) -> Finding:
    same = abs(found - wanted) <= spread
    title = told("The {what} is the plate's" if same else "The {what} is not the plate's", what=what)
    words = "{found:.1f} {unit}, the plate {wanted:.1f} {unit} give or take {spread:.1f}"
    figure = told(words, found=found, wanted=wanted, unit=unit, spread=spread)
    scale = Scale(found, wanted - spread, wanted + spread, unit, 1)
    return _finding(same, code, title, figure, told(_PREPARE), scale)


def _extents(box: Box, wanted_mm: tuple[float, float], spread_mm: float) -> Finding:
    width, depth, _ = box.size_mm
    same = any(abs(width - x) <= spread_mm and abs(depth - y) <= spread_mm for x, y in (wanted_mm, wanted_mm[::-1]))
    title = told("The parts lie as far apart as on the plate" if same else "The parts do not lie as on the plate")
    words = "{width:.0f} × {depth:.0f} mm, the plate {x:.0f} × {y:.0f} mm give or take {spread:.0f}"
    figure = told(words, width=width, depth=depth, x=wanted_mm[0], y=wanted_mm[1], spread=spread_mm)
    return _finding(same, "gcode_extents", title, figure, told(_PREPARE))


def _finding(holds: bool, code: str, title: str, figure: str, mend: str, scale: Scale | None = None) -> Finding:
    level = Level.PASSES if holds else Level.MUST_FIX
    return Finding(code, level, title, figure, mend="" if holds else mend, scale=scale)


def _inside(box: Box, bed: Box) -> bool:
    slack = 0.01
    low = all(a >= b - slack for a, b in zip(box.lowest_mm, bed.lowest_mm, strict=True))
    return low and all(a <= b + slack for a, b in zip(box.highest_mm, bed.highest_mm, strict=True))


def _corners(box: Box, bed: Box) -> str:
    axes = zip("xyz", box.lowest_mm, box.highest_mm, bed.lowest_mm, bed.highest_mm, strict=True)
    words = "{axis} {a:.1f} to {b:.1f} mm, bed {c:.0f} to {d:.0f}"
    sides = [told(words, axis=axis, a=a, b=b, c=c, d=d) for axis, a, b, c, d in axes]
    return chained(sides, "{first}; {rest}")
