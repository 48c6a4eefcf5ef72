"""The wind turbine: blades that turn on rods, a hub in two equal halves that clamps them, a pitch gauge, a nacelle.

The hub clamps three 4.0 mm rods; a blade is glued on the end of each (hole 4.2 mm, slip fit, FACTS 3) and its pitch
is set by turning the rod before the screws are tightened. The hub's joint lies 8.1 mm above its face.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, Manifold

from lessons.parts.solids import MeshArrays, box, circle, mesh_arrays, rounded_box, union

ROD_MM, ROD_HOLE_MM, ROD_DEPTH_MM = 4.0, 4.2, 20.0
ROOT_MM, ROOT_WIDE_MM, ROOT_HIGH_MM, START_MM = 24.0, 10.0, 8.0, 22.0  # START: of the blade from the shaft
PLATE_MM = 2.0
HUB_MM, HALF_MM, GROOVE_MM, GROOVE_FROM_MM = 40.0, 8.0, 1.9, 6.0
SHAFT_HOLE_MM, SCREW_HOLE_MM, SCREWS_AT_MM = 2.1, 3.4, 13.0
BOARD_MM = 18.0  # the hub lies on a board of this thickness while the pitch is set
PITCHES_DEG = (10, 20, 30, 40)
SLOT_MM, SLOT_LONG_MM = 2.6, 26.0
POST_HOLE_MM, MOTOR_MM = 10.2, 24.4


@dataclass(frozen=True, slots=True)
class BladeDesign:
    """Measures in mm; the defaults are the starting blade. ``span_mm`` from root to tip; chords at root and tip."""

    span_mm: float = 78.0
    root_chord_mm: float = 24.0
    tip_chord_mm: float = 24.0
    plate_mm: float = PLATE_MM
    rod_hole_mm: float = ROD_HOLE_MM

    def __post_init__(self) -> None:
        rules = [
            (self.span_mm >= ROOT_MM + 10, "the blade must be longer than its root"),
            (min(self.root_chord_mm, self.tip_chord_mm) >= 12, "the blade must be 12 mm wide at least"),
            (max(self.root_chord_mm, self.tip_chord_mm) <= SLOT_LONG_MM - 1, "the pitch gauge takes 25 mm at most"),
            (1.6 <= self.plate_mm <= SLOT_MM - 0.2, "the plate must be 1.6 to 2.4 mm thick"),
            (0 < self.rod_hole_mm <= ROOT_HIGH_MM - 3, "the hole must leave 1.5 mm of root"),
        ]
        problems = [text for holds, text in rules if not holds]
        if problems:
            raise ValueError("; ".join(problems))


STARTING_BLADE = BladeDesign()


def turbine_blade(design: BladeDesign = STARTING_BLADE) -> MeshArrays:
    """The blade lying on its flat side, the rod's hole along x, the root at x = 0.

    Starting blade: flat plate 78 x 24 x 2 mm with round corners at the tip; root block 24 x 10 x 8 mm with a blind hole
    4.2 mm wide and 20 mm deep for a 4.0 mm rod. Layers lie along the blade, where the pull is. Its root stands 22 mm
    from the shaft, so the tip turns at 100 mm.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(blade_solid(design))


def blade_solid(design: BladeDesign) -> Manifold:
    """The blade in the pose of :func:`turbine_blade`."""
    d = design
    half, tip = d.root_chord_mm / 2, d.tip_chord_mm / 2
    corner = min(6.0, tip - 1)
    points = [(0.0, -half + 3), (3.0, -half), (3.0, half), (0.0, half - 3)]
    points += ring((d.span_mm - corner, -tip + corner), corner) + ring((d.span_mm - corner, tip - corner), corner)
    plate = CrossSection.hull_points(points).extrude(d.plate_mm)
    root = box((0.0, ROOT_MM), (-ROOT_WIDE_MM / 2, ROOT_WIDE_MM / 2)).extrude(ROOT_HIGH_MM)
    hole = circle(d.rod_hole_mm, 96).extrude(ROD_DEPTH_MM + 1).rotate((0, 90, 0)).translate((-1, 0, ROOT_HIGH_MM / 2))
    return plate + root - hole


def ring(middle: tuple[float, float], radius_mm: float) -> list[tuple[float, float]]:
    """32 points on a circle."""
    turns = [2 * math.pi * k / 32 for k in range(32)]
    return [(middle[0] + radius_mm * math.cos(t), middle[1] + radius_mm * math.sin(t)) for t in turns]


def turbine_hub() -> MeshArrays:
    """One half of the hub lying on its outer face, grooves up; the second half is the same part turned over.

    40 mm across and 8 mm thick; three grooves, round with 4.0 mm and 1.9 mm deep, so that two halves press on the
    rods with 0.2 mm between them; hole 2.1 mm for a 2.0 mm motor shaft; three holes 3.4 mm for 3 mm screws between
    the grooves.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(hub_half_solid())


def hub_half_solid() -> Manifold:
    """The half in the pose of :func:`turbine_hub`."""
    body = circle(HUB_MM, 96).extrude(HALF_MM)
    groove = circle(ROD_MM, 64).extrude(HUB_MM).rotate((0, 90, 0)).translate((GROOVE_FROM_MM, 0, HALF_MM + 0.1))
    for third in range(3):
        body -= groove.rotate((0, 0, 120 * third))
    screws = [polar(SCREWS_AT_MM, math.radians(60 + 120 * third)) for third in range(3)]
    holes = union([circle(SCREW_HOLE_MM, 48).translate(place) for place in screws]) + circle(SHAFT_HOLE_MM, 64)
    return body - holes.extrude(100.0).translate((0, 0, -10.0))


def polar(radius_mm: float, angle: float) -> tuple[float, float]:
    return radius_mm * math.cos(angle), radius_mm * math.sin(angle)


def slot_middle(index: int) -> tuple[float, float]:
    """Middle of a slot of the pitch gauge, mm from its left foot: where the plate of a blade lies when the hub lies on
    the board, flat side down: 3 mm under the rod, measured square to the blade."""
    pitch = math.radians(PITCHES_DEG[index])
    under = (ROOT_HIGH_MM - PLATE_MM) / 2
    x = 18.0 + 30.0 * index
    return x + under * math.sin(pitch), BOARD_MM + HALF_MM + 0.1 - under * math.cos(pitch)


def pitch_gauge() -> MeshArrays:
    """A plate that is stood on the table and slid over a blade: four slots at 10, 20, 30 and 40 degrees, from the left.

    126 x 48 x 4 mm, printed lying; slots 26 x 2.6 mm. One to four notches in the upper edge tell the slots apart.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    outline = box((0.0, 126.0), (0.0, 48.0))
    for index, pitch in enumerate(PITCHES_DEG):
        slot = CrossSection.square((SLOT_LONG_MM, SLOT_MM), True).rotate(pitch).translate(slot_middle(index))
        outline -= slot
        for notch in range(index + 1):
            x = 18.0 + 30.0 * index + 4.0 * (notch - index / 2)
            outline -= box((x - 0.8, x + 0.8), (45.0, 50.0))
    return mesh_arrays(outline.extrude(4.0))


def turbine_nacelle() -> MeshArrays:
    """The block that holds the motor on its post, standing as it is used.

    34 x 30 x 22 mm; a trough for a round motor of up to 24 mm, held by two cable ties around the block; a hole 10.2 mm
    from below for a 10 mm post, through to the trough, so that nothing bridges.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    body = rounded_box(34.0, 30.0, 3.0).extrude(22.0)
    motor = circle(MOTOR_MM, 96).extrude(60.0).rotate((0, 90, 0)).translate((-30.0, 0, 26.0))
    post = circle(POST_HOLE_MM, 64).extrude(60.0).translate((0, 0, -10.0))
    return mesh_arrays(body - motor - post)


def rotor_solids(design: BladeDesign = STARTING_BLADE, pitch_deg: float = 20.0) -> list[tuple[str, Manifold]]:
    """Hub, rods and blades as they stand on the board, the axle along z; for the tests of how they fit."""
    joint = BOARD_MM + HALF_MM + 0.1
    under = hub_half_solid().translate((0, 0, BOARD_MM))
    over = hub_half_solid().rotate((180, 0, 0)).translate((0, 0, BOARD_MM + 2 * HALF_MM + 0.2))
    solids = [("lower half", under), ("upper half", over)]
    long = START_MM - GROOVE_FROM_MM + ROD_DEPTH_MM
    for third in range(3):
        rod = Manifold.cylinder(long - 0.5, ROD_MM / 2 - 0.05, ROD_MM / 2 - 0.05, 64)
        rod = rod.rotate((0, 90, 0)).translate((GROOVE_FROM_MM + 0.2, 0, 0))
        blade = blade_solid(design).translate((0, 0, -ROOT_HIGH_MM / 2)).rotate((pitch_deg, 0, 0))
        for name, solid in ((f"rod {third}", rod), (f"blade {third}", blade.translate((START_MM, 0, 0)))):
            solids.append((name, solid.rotate((0, 0, 120 * third)).translate((0, 0, joint))))
    return solids


def swept_tip_mm(design: BladeDesign = STARTING_BLADE) -> float:
    """Radius of the circle the tips run on."""
    return float(np.round(START_MM + design.span_mm, 4))
