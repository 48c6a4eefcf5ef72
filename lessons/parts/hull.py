"""The cargo hull: an open barge with raked ends, and in its middle a mast step that must stay.

The starting hull's frame: x along the hull, y across, z up from the keel, the middle of the floor at x = y = 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from lessons.parts.solids import MeshArrays, circle, mesh_arrays

STEP_DIAMETER_MM, STEP_HEIGHT_MM = 14.0, 12.0  # height above the keel, floor included
MAST_MM, MAST_HOLE_MM, MAST_HOLE_DEPTH_MM = 5.0, 5.2, 8.0  # +0.2 mm on the dowel: slip fit, FACTS 3
WALL_LEAST_MM = 1.2


@dataclass(frozen=True, slots=True)
class HullDesign:
    """Measures in mm; the defaults are the starting hull of the kit.

    ``floor_length_mm`` and ``floor_width_mm`` are outside measures at the keel; ``rake_mm`` is how much further each
    end reaches at the top, ``flare_mm`` how much further each side does.
    """

    floor_length_mm: float = 84.0
    floor_width_mm: float = 50.0
    height_mm: float = 32.0
    rake_mm: float = 10.0
    flare_mm: float = 0.0
    wall_mm: float = 1.6
    floor_mm: float = 1.6

    def __post_init__(self) -> None:
        inside_mm = min(self.floor_length_mm, self.floor_width_mm) - 2 * self.wall_mm
        lean_mm = (min(self.rake_mm, self.flare_mm), max(self.rake_mm, self.flare_mm))
        rules = [
            (self.wall_mm >= WALL_LEAST_MM, "walls need 1.2 mm to hold water"),
            (self.floor_mm >= WALL_LEAST_MM, "the floor needs 1.2 mm to hold water"),
            (self.height_mm > STEP_HEIGHT_MM, "the hull must be higher than its mast step"),
            (inside_mm > STEP_DIAMETER_MM, "no room for the mast step"),
            (lean_mm[0] >= 0 and lean_mm[1] < self.height_mm, "ends and sides must lean out less than 45 degrees"),
        ]
        problems = [text for holds, text in rules if not holds]
        if problems:
            raise ValueError("; ".join(problems))


STARTING_HULL = HullDesign()


def hull(design: HullDesign = STARTING_HULL) -> MeshArrays:
    """The hull standing on the bed by its keel, open at the top, one closed body.

    Starting hull: 104 x 50 mm at the top, 84 x 50 mm at the keel, 32 mm high; floor and walls 1.6 mm; the ends lean
    out 17 degrees from vertical, so nothing needs support. Mast step 14 mm across and 12 mm high with a blind
    hole 5.2 mm wide and 8 mm deep for a 5.0 mm dowel. Returns vertices (n, 3) float64 mm and faces (m, 3) int32.
    Source: our own design.
    """
    return mesh_arrays(hull_solid(design))


def hull_solid(design: HullDesign) -> Manifold:
    """The hull as a solid, in the pose of :func:`hull`."""
    step = circle(STEP_DIAMETER_MM, 64).extrude(STEP_HEIGHT_MM)
    hole = circle(MAST_HOLE_MM, 96).extrude(STEP_HEIGHT_MM).translate((0, 0, STEP_HEIGHT_MM - MAST_HOLE_DEPTH_MM))
    return shell_solid(design) + (step - hole)


def shell_solid(design: HullDesign) -> Manifold:
    """Floor and walls without the mast step."""
    d = design
    up = d.floor_mm / d.height_mm
    inner_low = (d.floor_length_mm + 2 * d.rake_mm * up, d.floor_width_mm + 2 * d.flare_mm * up)
    inner_high = (d.floor_length_mm + 2 * d.rake_mm, d.floor_width_mm + 2 * d.flare_mm)
    hollow = frustum(
        (inner_low[0] - 2 * d.wall_mm, inner_low[1] - 2 * d.wall_mm),
        (inner_high[0] - 2 * d.wall_mm, inner_high[1] - 2 * d.wall_mm),
        (d.floor_mm, d.height_mm),
    )
    return outer_solid(d) - hollow


def outer_solid(design: HullDesign) -> Manifold:
    """What pushes water away when the hull is down to its edge: the outside, filled."""
    d = design
    low = (d.floor_length_mm, d.floor_width_mm)
    high = (d.floor_length_mm + 2 * d.rake_mm, d.floor_width_mm + 2 * d.flare_mm)
    return frustum(low, high, (0.0, d.height_mm))


def frustum(low_mm: tuple[float, float], high_mm: tuple[float, float], z_mm: tuple[float, float]) -> Manifold:
    """The body between two rectangles about the z axis, one at each height; high is nowhere the smaller."""
    corners = [
        (sx * size[0] / 2, sy * size[1] / 2, z)
        for size, z in ((low_mm, z_mm[0]), (high_mm, z_mm[1]))
        for sx in (-1, 1)
        for sy in (-1, 1)
    ]
    return Manifold.hull_points(np.asarray(corners))
