"""The lever launcher: an arm with its cup, and the side of the stand, two of which carry it between wooden rods.

The launcher's frame: x forward, z up from the floor, the pivot above x = 0; the arm's long side points backward. Each
part is drawn as it lies on the bed. Rods are 6.0 mm dowels: 6.2 mm holes hold them (slip fit), 6.4 mm turns on one
(running fit), fits of FACTS 3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from manifold3d import CrossSection, Manifold

from lessons.parts.solids import MeshArrays, box, circle, mesh_arrays, polygon, union

ROD_MM, PIVOT_MM, ROD_HOLE_MM, PIN_HOLE_MM = 6.0, 6.4, 6.2, 6.6
WEIGHT_HOLE_MM, BALL_MM, CUP_MM, CUP_WALL_MM = 4.3, 25.0, 26.0, 2.4
CUP_HEIGHT_MM, CUP_FLOOR_MM, CUP_RISE_MM = 22.0, 2.0, 4.0
BAR_MM, HUB_MM, ARM_MM = 12.0, 16.0, 8.0  # height of the bar, across the hub, thickness of the arm
PIVOT_UP_MM, START_DEG, STOP_DEG = 85.0, 35.0, 45.0
STOP_AT_MM, PIN_AT_MM, FEET_MM = 36.0, 40.0, ((-50.0, 10.0), (50.0, 10.0))
SIDE_MM, BOSS_MM, BOSS_HEIGHT_MM, ROOM_MM = 6.0, 14.0, 25.5, 60.0  # ROOM: between the two sides
EDGE_MM = 9.0


@dataclass(frozen=True, slots=True)
class ArmDesign:
    """Measures in mm; the defaults are the starting arm. ``short_mm``: the holes for the weight, from the pivot.

    ``window_mm`` is the height of the slots cut out of both sides of the bar to save plastic; 0: none.
    """

    long_mm: float = 72.0
    short_mm: tuple[float, ...] = (24.0, 36.0, 48.0)
    bar_mm: float = BAR_MM
    window_mm: float = 0.0
    pivot_mm: float = PIVOT_MM

    def __post_init__(self) -> None:
        rules = [
            (self.long_mm - cup_outside_mm() >= STOP_AT_MM + 6, "the cup must stay clear of the stop"),
            (bool(self.short_mm) and min(self.short_mm) >= 24, "the weight must clear the pivot by 24 mm"),
            (self.bar_mm >= 8, "the bar needs 8 mm around the holes for the weight"),
            (self.window_mm == 0 or 2 <= self.window_mm <= self.bar_mm - 4.8, "windows must leave 2.4 mm of bar"),
            (1 < self.pivot_mm < HUB_MM - 4, "the hole must leave 2 mm of hub"),
        ]
        problems = [text for holds, text in rules if not holds]
        if problems:
            raise ValueError("; ".join(problems))


def cup_outside_mm() -> float:
    """From the middle of the ball to the outside of the cup."""
    return CUP_MM / 2 + CUP_WALL_MM


STARTING_ARM = ArmDesign()


def launcher_arm(design: ArmDesign = STARTING_ARM) -> MeshArrays:
    """The arm lying on its side, pivot along z through the origin, long side to +x, the cup open to +y.

    Starting arm: ball 72 mm from the pivot, holes for the weight 24, 36 and 48 mm on the other side (arm ratios 3, 2
    and 1.5); bar 12 x 8 mm, hub 16 mm across, pivot hole 6.4 mm through for a 6.0 mm dowel. The cup takes a ball of
    25 mm; it is closed on the side that lies on the bed. All walls are upright. 141.4 mm long in all.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(arm_solid(design))


def launcher_side() -> MeshArrays:
    """One side of the stand, lying on its outer face, x forward and y up from the floor.

    6 mm thick, 136 mm long and 126 mm high; boss 14 mm across and 25.5 mm long that keeps the arm in the middle; holes
    6.2 mm for pivot, stop and two feet, 6.6 mm for the pin that is pulled. Places of the rods: :func:`rod_places`.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(side_solid())


def launcher_other_side() -> MeshArrays:
    """The mirror image of :func:`launcher_side`, boss up as well."""
    return mesh_arrays(side_solid().mirror((1, 0, 0)))


def rod_places() -> dict[str, tuple[float, float]]:
    """Middle of each rod seen from the side, mm: x forward, z up from the floor."""
    places = {"pivot": (0.0, PIVOT_UP_MM), "rear foot": FEET_MM[0], "front foot": FEET_MM[1]}
    for name, along, turn in (("stop", STOP_AT_MM, STOP_DEG), ("pin", PIN_AT_MM, -START_DEG)):
        rise, away = math.radians(turn), BAR_MM / 2 + ROD_MM / 2
        x = -along * math.cos(rise) + away * math.sin(rise)
        z = PIVOT_UP_MM + along * math.sin(rise) + away * math.cos(rise)
        places[name] = (x, z)
    return places


def arm_solid(design: ArmDesign) -> Manifold:
    """The arm in the pose of :func:`launcher_arm`."""
    d = design
    end = -max(d.short_mm)
    half = d.bar_mm / 2
    bar = box((end, d.long_mm), (-half, half)) + circle(d.bar_mm, 48).translate((end, 0))
    seat = CUP_MM / 2
    inside = circle(CUP_MM, 96) + box((-seat, seat), (0, 40.0))
    shell = circle(2 * cup_outside_mm(), 96) ^ box((-40.0, 40.0), (-40.0, 5.0))
    cup = shell.translate((d.long_mm, CUP_RISE_MM))
    hollow = inside.translate((d.long_mm, CUP_RISE_MM))
    body = (bar + circle(HUB_MM, 64) - hollow).extrude(ARM_MM) + cup.extrude(CUP_FLOOR_MM)
    body += (cup - hollow).extrude(CUP_HEIGHT_MM)
    holes = circle(d.pivot_mm, 96) + union([circle(WEIGHT_HOLE_MM, 48).translate((-b, 0)) for b in d.short_mm])
    if d.window_mm:
        inner = (STOP_AT_MM + 8, d.long_mm - cup_outside_mm() - 4)
        if inner[1] > inner[0]:
            holes += box(inner, (-d.window_mm / 2, d.window_mm / 2))
    return body - holes.extrude(4 * CUP_HEIGHT_MM).translate((0, 0, -CUP_HEIGHT_MM))


def side_solid() -> Manifold:
    """The side in the pose of :func:`launcher_side`."""
    places = rod_places()
    outline = CrossSection.hull_points([point for place in places.values() for point in ring(place, EDGE_MM)])
    foot = polygon([(-68.0, 0.0), (68.0, 0.0), (58.0, 14.0), (-58.0, 14.0)])
    outline += foot
    inner = outline.offset(-11.0)
    frame = outline - inner + union([circle(2 * EDGE_MM, 48).translate(place) for place in places.values()])
    body = frame.extrude(SIDE_MM) + circle(BOSS_MM, 64).translate(places["pivot"]).extrude(SIDE_MM + BOSS_HEIGHT_MM)
    holes = union(
        [circle(PIN_HOLE_MM if name == "pin" else ROD_HOLE_MM, 64).translate(place) for name, place in places.items()]
    )
    return body - holes.extrude(100.0).translate((0, 0, -10.0))


def ring(middle: tuple[float, float], radius_mm: float) -> list[tuple[float, float]]:
    """48 points on a circle."""
    turns = [2 * math.pi * k / 48 for k in range(48)]
    return [(middle[0] + radius_mm * math.cos(t), middle[1] + radius_mm * math.sin(t)) for t in turns]
