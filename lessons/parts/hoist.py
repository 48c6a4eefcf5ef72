"""The hand-crank hoist: gears with involute teeth, a drum, a crank and the bracket that carries them on two rods.

Gears slide on a hexagon, 14.0 mm across flats, of drum and crank (hole 14.3 mm). Drum and crank turn on 6.0 mm rods
that stick in the bracket (hole 6.2 mm, slip fit, glued; running hole 6.4 mm): fits of FACTS 3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

import numpy as np
from manifold3d import CrossSection, Manifold

from lessons.parts.solids import MeshArrays, box, circle, mesh_arrays, polygon, rounded_box, union
from lessons.science.gears import Mesh, SpurGear, shift_needed

MODULE_MM, THINNING_MM, SPREAD_MM = 1.5, 0.1, 0.2
TEETH_TOGETHER = 60
GEAR_MM, HEX_MM, HEX_HOLE_MM, STUB_MM = 6.0, 14.0, 14.3, 7.0
ROD_MM, ROD_HOLE_MM, RUNNING_MM = 6.0, 6.2, 6.4
DRUM_BELOW_GEAR_MM, DRUM_BOSS_MM = 30.0, 3.0
CRANK_MM, HANDLE_HOLE_MM = 45.0, 6.2
BRACKET_MM, BOSS_MM = 8.0, 14.0
FLANK_POINTS = 7


def spur_gear(teeth: int) -> SpurGear:
    """A gear of the kit; fewer than 18 teeth get the shift they need."""
    return SpurGear(MODULE_MM, teeth, shift_needed(teeth), THINNING_MM)


def pair(crank_teeth: int) -> Mesh:
    """The gear on the crank and the one on the drum that goes with it: 60 teeth together, so that one bracket serves.
    What the small one is shifted outward, the large one is shifted inward."""
    small = spur_gear(crank_teeth)
    large = SpurGear(MODULE_MM, TEETH_TOGETHER - crank_teeth, -small.shift, THINNING_MM)
    return Mesh(small, large, SPREAD_MM)


def tooth_outline(gear: SpurGear) -> CrossSection:
    """The whole toothed outline, the middle of one tooth on +x; below the base circle flanks go straight inward."""
    base, tip, root = gear.base_mm / 2, gear.tip_mm / 2, gear.root_mm / 2
    low = max(base, root)
    first, last = (math.sqrt(max((r / base) ** 2 - 1, 0.0)) for r in (low, tip))
    rolled = np.linspace(first, last, FLANK_POINTS)
    radii = base * np.sqrt(1 + rolled**2)  # even steps of the roll angle: chords equally close to the involute
    half = np.array([gear.thickness_mm(2 * r) / (2 * r) for r in radii])
    if root < base:
        radii, half = np.concatenate([[root], radii]), np.concatenate([[half[0]], half])
    turn = 2 * math.pi / gear.teeth
    points = []
    for tooth in range(gear.teeth):
        middle = tooth * turn
        points += [polar(r, middle - h) for r, h in zip(radii, half, strict=True)]
        points += [polar(tip, middle + half[-1] * share) for share in (-0.33, 0.33)]
        points += [polar(r, middle + h) for r, h in zip(radii[::-1], half[::-1], strict=True)]
        gap = turn - 2 * half[0]
        points += [polar(root, middle + half[0] + gap * share) for share in (0.33, 0.67)]
    return polygon(points)


def polar(radius_mm: float, angle: float) -> tuple[float, float]:
    return radius_mm * math.cos(angle), radius_mm * math.sin(angle)


def hexagon(across_mm: float) -> CrossSection:
    """A regular hexagon by its width across flats."""
    return circle(across_mm / math.cos(math.pi / 6), 6)


def gear_wheel(teeth: int) -> MeshArrays:
    """A gear lying on the bed: module 1.5 mm, 20 degrees, 6 mm wide, hexagon hole 14.3 mm across flats.

    Gears of 30 teeth and more have round windows to save plastic. All walls are upright.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design; teeth by lessons.science.gears.
    """
    return mesh_arrays(gear_solid(spur_gear(teeth)))


def gear_solid(gear: SpurGear) -> Manifold:
    """The gear in the pose of :func:`gear_wheel`."""
    outline = tooth_outline(gear) - hexagon(HEX_HOLE_MM)
    hub, rim = HEX_HOLE_MM / 2 / math.cos(math.pi / 6) + 2.4, gear.root_mm / 2 - 3.0
    across = min(rim - hub, 0.75 * (rim + hub) * math.sin(math.pi / 6))
    if across >= 5:
        window = circle(across, 40).translate(((rim + hub) / 2, 0))
        outline -= union([window.rotate(60 * k + 30) for k in range(6)])
    return outline.extrude(GEAR_MM)


@dataclass(frozen=True, slots=True)
class DrumDesign:
    """Measures in mm; the defaults are the starting drum. ``spool_mm`` is the diameter the string winds on."""

    spool_mm: float = 24.0
    flange_mm: float = 36.0
    room_mm: float = 18.0
    bore_mm: float = RUNNING_MM

    def __post_init__(self) -> None:
        rules = [
            (self.spool_mm >= HEX_MM / math.cos(math.pi / 6), "the spool must be as wide as the hexagon"),
            (self.flange_mm >= self.spool_mm + 6, "the flange must stand 3 mm above the string"),
            (self.room_mm >= 8, "the string needs 8 mm of room"),
            (self.height_mm <= DRUM_BELOW_GEAR_MM, "the drum must leave the gear in its place"),
            (0 < self.bore_mm < HEX_MM - 4, "the hole must leave 2 mm around it"),
        ]
        problems = [text for holds, text in rules if not holds]
        if problems:
            raise ValueError("; ".join(problems))

    @property
    def rise_mm(self) -> float:
        """Of the cone under the upper flange: 44 degrees from upright."""
        return (self.flange_mm - self.spool_mm) / 2 / math.tan(math.radians(44))

    @property
    def height_mm(self) -> float:
        """Without the hexagon: flange, room, cone and flange."""
        return 2.0 + self.room_mm + self.rise_mm + 1.4


STARTING_DRUM = DrumDesign()


def hoist_drum(design: DrumDesign = STARTING_DRUM) -> MeshArrays:
    """The drum standing on its lower flange, axle along z through the origin, the hexagon for its gear up.

    Starting drum: spool 24 mm across with 18 mm of room, flanges 36 mm, hole 6.4 mm through for a 6.0 mm rod, hexagon
    14.0 mm across flats and 7 mm long, 37 mm high in all; a notch in the lower flange holds the knot. A plain collar
    fills what the flanges leave up to the gear. The cone under the upper flange leans out 44 degrees, so nothing needs
    support.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(drum_solid(design))


def drum_solid(design: DrumDesign) -> Manifold:
    """The drum in the pose of :func:`hoist_drum`."""
    d = design
    low, high = d.spool_mm / 2, d.flange_mm / 2
    z1, z2 = 2.0 + d.room_mm, 2.0 + d.room_mm + d.rise_mm
    collar = HEX_MM / 2 / math.cos(math.pi / 6) + 1.0
    profile = [(0.0, 0.0), (high, 0.0), (high, 2.0), (low, 2.0), (low, z1), (high, z2), (high, d.height_mm)]
    profile += [(collar, d.height_mm), (collar, DRUM_BELOW_GEAR_MM), (0.0, DRUM_BELOW_GEAR_MM)]
    body = Manifold.revolve(polygon(profile), 96)
    body += hexagon(HEX_MM).extrude(DRUM_BELOW_GEAR_MM + STUB_MM)
    body -= box((low + 0.8, high + 1), (-1.0, 1.0)).extrude(6.0).translate((0, 0, -2.0))
    return body - circle(d.bore_mm, 96).extrude(100.0).translate((0, 0, -10.0))


def hoist_crank() -> MeshArrays:
    """The crank lying on its arm, axle along z through the origin, the hexagon for its gear up.

    Arm 6 mm thick, handle hole 6.2 mm at 45 mm for a wooden rod, running hole 6.4 mm, hexagon 14.0 mm across
    flats and 7 mm long.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    arm = CrossSection.hull_points([polar(11.0, k * math.pi / 24) for k in range(48)] + ring((CRANK_MM, 0.0), 8.0))
    body = arm.extrude(6.0) + hexagon(HEX_MM).extrude(6.0 + STUB_MM)
    body -= circle(RUNNING_MM, 96).extrude(60.0).translate((0, 0, -10.0))
    return mesh_arrays(body - circle(HANDLE_HOLE_MM, 64).extrude(60.0).translate((CRANK_MM, 0, -10.0)))


def ring(middle: tuple[float, float], radius_mm: float) -> list[tuple[float, float]]:
    """48 points on a circle."""
    return [(middle[0] + x, middle[1] + y) for x, y in (polar(radius_mm, k * math.pi / 24) for k in range(48))]


def axle_places() -> tuple[tuple[float, float], tuple[float, float]]:
    """Middle of the drum's and of the crank's rod on the bracket, mm."""
    half = pair(30).distance_mm / 2
    return (-half, 0.0), (half, 0.0)


def hoist_bracket() -> MeshArrays:
    """The bracket lying on its back: 110 x 56 x 8 mm, two bosses with holes 6.2 mm for the rods, screw holes 4.5 mm.

    The rods stand 45.2 mm apart, 0.2 mm more than the gears' pitch circles, for play. The boss of the crank is 30 mm
    longer than the drum's, so that both gears run in one plane. All walls are upright.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    drum, crank = axle_places()
    body = rounded_box(110.0, 56.0, 6.0).extrude(BRACKET_MM)
    body += circle(BOSS_MM, 64).translate(drum).extrude(BRACKET_MM + DRUM_BOSS_MM)
    body += circle(BOSS_MM, 64).translate(crank).extrude(BRACKET_MM + DRUM_BOSS_MM + DRUM_BELOW_GEAR_MM)
    holes = union([circle(ROD_HOLE_MM, 64).translate(place) for place in (drum, crank)])
    holes += union([circle(4.5, 32).translate((x, y)) for x in (-48.0, 48.0) for y in (-21.0, 21.0)])
    return mesh_arrays(body - holes.extrude(100.0).translate((0, 0, -10.0)))


GEARS = {f"gear-{teeth}": partial(gear_wheel, teeth) for teeth in (20, 24, 30, 36, 40)}
