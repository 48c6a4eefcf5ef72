"""How a part is laid, of what it is made, and what printing it takes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from meshcheck.settings import PrintSettings
from meshcheck.types.plain import FloatArray, Vector


@dataclass(frozen=True, slots=True)
class Pose:
    """One way to lay a part on the bed, and what it costs there.

    ``rotation`` (3 x 3, rows) turns the file's frame so that the resting face looks down. ``tip_deg`` is how far the
    part can be leaned before it falls; 0 when it does not stand at all. ``contact_mm2`` is drawn in the first layer.
    ``grams`` and ``minutes`` are those of the whole part with its support, from a quick model that ranks poses; the
    estimate says them better. ``price_min`` weighs everything in minutes (``meshcheck.orientation``).
    """

    rotation: tuple[Vector, Vector, Vector]
    tip_deg: float
    contact_mm2: float
    height_mm: float
    support_mm3: float
    grams: float
    minutes: float
    cleaning_min: float  # by hand, to take the support off
    price_min: float


@dataclass(frozen=True, slots=True)
class Turn:
    """How the part is best laid, what that saves against the file's own pose by the estimate, and why, in words that
    go after "the part"."""

    pose: Pose
    saves_g: float
    saves_min: float
    why: str


@dataclass(frozen=True, slots=True)
class Material:
    """A filament. Density in g/cm3; its source stands with the table in ``meshcheck.materials``."""

    code: str
    name: str
    density_g_cm3: float
    filament_diameter_mm: float
    nozzle_c: tuple[int, int]
    bed_c: tuple[int, int]
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class PrintedBody:
    """mass_g; centre_mm (3,); inertia_g_mm2 (3, 3) about the centre, in the coordinates of the mesh that was cut.

    Raft, brim and support are not part of it.
    """

    mass_g: float
    centre_mm: FloatArray
    inertia_g_mm2: FloatArray

    def about(self, point_mm: FloatArray, direction: FloatArray) -> float:
        """Moment of inertia in g mm2 about the line through ``point_mm`` (3,) along ``direction`` (3,), any length."""
        axis = np.asarray(direction, np.float64) / np.linalg.norm(direction)
        offset = np.asarray(point_mm, np.float64) - self.centre_mm
        distance_sq = float(offset @ offset) - float(offset @ axis) ** 2
        return float(axis @ self.inertia_g_mm2 @ axis) + self.mass_g * distance_sq


@dataclass(frozen=True, slots=True)
class Estimate:
    """Grams and minutes of one file printed once. ``duration_s`` is heat-up plus printing, without cool-down.
    It comes from geometry and a motion model; no real printer was measured. ``mass_g`` is the part itself (of a plate:
    all parts); support, raft and brim stand beside it; ``filament_m`` is all of them; ``path_m`` is every way of the
    head, drawing or travelling; ``layers`` includes those of the raft."""

    mass_g: float
    support_g: float
    raft_brim_g: float
    filament_m: float
    duration_s: float
    heat_up_s: float
    cool_down_s: float
    layers: int
    path_m: float
    settings: PrintSettings
    body: PrintedBody | None = field(default=None, compare=False)  # of a single part

    @property
    def used_g(self) -> float:
        """All that leaves the spool."""
        return self.mass_g + self.support_g + self.raft_brim_g
