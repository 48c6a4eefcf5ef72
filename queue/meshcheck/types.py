"""What goes into a check and what comes out of it: frozen values, units in the names.

Lengths are millimetres, areas mm2, volumes mm3, masses grams, times seconds, angles degrees
unless a name says otherwise. A quantity that could not be measured is an ``Unknown`` with
its reason, never a zero.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from meshcheck.settings import Machine as Machine
from meshcheck.settings import PrintSettings as PrintSettings
from meshcheck.settings import settings_problems as settings_problems
from meshcheck.support_columns import SupportColumns

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]
Vector = tuple[float, float, float]

T = TypeVar("T")


class Unit(StrEnum):
    """A length unit a file may have been drawn in."""

    MILLIMETRE = "mm"
    INCH = "inch"
    CENTIMETRE = "cm"
    METRE = "m"
    MICRON = "micron"
    FOOT = "foot"


MM_PER_UNIT: dict[Unit, float] = {
    Unit.MILLIMETRE: 1.0,
    Unit.INCH: 25.4,
    Unit.CENTIMETRE: 10.0,
    Unit.METRE: 1000.0,
    Unit.MICRON: 0.001,
    Unit.FOOT: 304.8,
}


class Level(StrEnum):
    """How serious one finding is."""

    PASSES = "passes"
    ADVICE = "advice"
    MUST_FIX = "must_fix"


class Verdict(StrEnum):
    """What the whole report says."""

    OK = "ok"
    ADVICE = "advice"
    MUST_FIX = "must_fix"
    REJECTED = "rejected"


@dataclass(frozen=True, slots=True)
class Unknown:
    """A quantity that could not be measured, and why, in plain words."""

    because: str


def known(value: T | Unknown) -> T | None:
    """The value, or None when it is an Unknown."""
    return None if isinstance(value, Unknown) else value


class MeshRejected(Exception):
    """The file cannot be measured at all.

    ``code`` is stable and short (``truncated``, ``empty``, ``too_many_faces`` ...), ``message``
    says what is wrong and ``mend`` what a student can do about it. Neither names a path.
    """

    def __init__(self, code: str, message: str, mend: str) -> None:
        super().__init__(message)
        self.code, self.message, self.mend = code, message, mend


@dataclass(frozen=True, slots=True)
class Note:
    """Something the reader noticed that does not stop the check (trailing bytes, skipped objects)."""

    code: str
    message: str


@dataclass(frozen=True, slots=True, eq=False)
class RawMesh:
    """A file's triangles as read, before repair.

    triangles: (n, 3, 3) float64, file units. ``declared_faces`` is what the file itself says,
    where its format says it. ``unit`` is set only when the format declares one (3MF).
    """

    triangles: FloatArray
    format: Literal["stl-binary", "stl-ascii", "obj", "3mf"]
    declared_faces: int | None = None
    unit: Unit | None = None
    objects: int = 1
    notes: tuple[Note, ...] = ()
    part: IntArray | None = None  # (n,) object of every face where the format tells; never merged across objects


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Merged mesh in millimetres. vertices (n, 3) float64, faces (m, 3) int32, body (m,) int32."""

    vertices: FloatArray
    faces: IntArray
    body: IntArray

    @property
    def corners(self) -> FloatArray:
        """(m, 3, 3) corner coordinates of every face."""
        corners: FloatArray = self.vertices[self.faces]
        return corners


@dataclass(frozen=True, slots=True, eq=False)
class Topology:
    """How the faces hang together. Edge counts are after repair; what repair did is told apart."""

    faces: int
    vertices: int
    bodies: int
    open_edges: int
    crowded_edges: int  # shared by more than two faces
    flipped_edges: int  # the two faces disagree about which side is out
    zero_area_faces: int  # skipped
    welded: bool  # vertices had to be joined within 1e-6 of the diagonal
    turned_bodies: int  # inside-out bodies turned right side out
    overlapping_bodies: bool
    open_edge_faces: IntArray = field(default_factory=lambda: np.zeros(0, np.int32))
    twin_faces: int = 0  # faces lying exactly on another one, left out
    touching_edges: int = 0  # where surfaces touch along an edge; told apart, so they are not crowded

    @property
    def watertight(self) -> bool:
        return self.open_edges == 0 and self.crowded_edges == 0

    @property
    def winding_consistent(self) -> bool:
        return self.flipped_edges == 0


@dataclass(frozen=True, slots=True)
class Basics:
    """Size and mass properties of the solid. The inertia is about the centre of mass for density 1:
    a 3 x 3 tensor in mm5 (multiply by density in kg/mm3 and 1e-6 for kg m2)."""

    area_mm2: float
    lowest_mm: Vector
    highest_mm: Vector
    volume_mm3: float | Unknown
    centre_of_mass_mm: Vector | Unknown
    inertia_mm5: tuple[Vector, Vector, Vector] | Unknown

    @property
    def size_mm(self) -> Vector:
        (a, b, c), (x, y, z) = self.lowest_mm, self.highest_mm
        return (x - a, y - b, z - c)


@dataclass(frozen=True, slots=True)
class Bridge:
    """A flat underside held at both ends, near enough to be drawn on air. ``span_mm`` is the longest line across."""

    span_mm: float
    area_mm2: float
    place_mm: Vector


@dataclass(frozen=True, slots=True, eq=False)
class Support:
    """Undersides too steep to print on air, and the columns of support they would need. Bridges are not among them."""

    overhang_area_mm2: float
    overhang_faces: IntArray
    volume_mm3: float | Unknown
    on_part_mm3: float | Unknown  # the share that stands on the part itself, not on the bed
    limit_deg: float
    columns: SupportColumns | None = None  # where it stands; None when that is not known
    bridges: tuple[Bridge, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Walls:
    """The thinnest wall found, where it is, and how it was found."""

    thinnest_mm: float | Unknown
    faces: IntArray
    place_mm: Vector | None
    limit_mm: float


@dataclass(frozen=True, slots=True)
class Hole:
    """One cylindrical hole. ``free_diameter_mm`` is the largest round bar that passes;
    ``eccentricity_mm`` the distance of its axis from the axis of the rim around it, unknown
    without a rim. ``certain`` is False when the fall-back found it: the page must say so."""

    diameter_mm: float
    free_diameter_mm: float
    depth_mm: float
    through: bool
    axis: Vector
    centre_mm: Vector
    roundness_mm: float
    eccentricity_mm: float | Unknown
    rim_diameter_mm: float | Unknown
    facets: int
    certain: bool = True
    # across the hole, smallest and largest diameter: differ when the part was stretched
    diameters_mm: tuple[float, float] | None = None
    rim: int | None = None  # which wheel of the file it belongs to, counted from 0
    hub: bool = False  # the hub hole of that wheel, the one a gauge is held against
    obstructed: bool = False  # something crosses it between its ends


@dataclass(frozen=True, slots=True)
class SmallFeature:
    """A round pin or hole so narrow that it may break or close up, and its middle in the frame of the file."""

    kind: Literal["pin", "hole"]
    diameter_mm: float
    length_mm: float
    place_mm: Vector


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
class Signature:
    """What stays the same of a design however it is turned, placed or cut into triangles: one part's volume, area, and
    its three radii of gyration (square roots of the inertia's eigenvalues over the volume), ascending."""

    volume_mm3: float
    area_mm2: float
    gyration_mm: Vector


@dataclass(frozen=True, slots=True)
class Gauge:
    """What a redesigned part must keep. Sizes in mm; None means not asked."""

    hole_diameter_mm: float | None = None
    hole_plus_mm: float = 0.10
    hole_minus_mm: float = 0.05
    hole_depth_mm: float | None = None
    hole_depth_tolerance_mm: float = 0.25
    through: bool | None = None
    eccentricity_max_mm: float | None = None
    size_max_mm: Vector | None = None  # sorted against the part's sorted size, so that turning is allowed
    holes_min: int = 1  # how many parts with such a hole one file should hold
    reference_volume_mm3: float | None = None  # volume of the kit's own part, to name unit errors


@dataclass(frozen=True, slots=True)
class Limits:
    """What the assignment allows for one file; None means not limited."""

    mass_g: float | None = None
    duration_s: float | None = None
    bed_mm: Vector | None = None  # the largest box any printer of the room holds


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

    @property
    def used_g(self) -> float:
        """All that leaves the spool."""
        return self.mass_g + self.support_g + self.raft_brim_g


@dataclass(frozen=True, slots=True)
class Scale:
    """A measured figure beside the band that is allowed, for the ruler drawing. One bound may be None."""

    value: float
    low: float | None
    high: float | None
    unit: str
    decimals: int = 2


@dataclass(frozen=True, slots=True)
class Finding:
    """One statement about the part, in a student's words."""

    code: str
    level: Level
    title: str
    figure: str  # the measured figure with its unit, and the limit: "2.95 mm, allowed 3.15 to 3.30 mm"
    why: str = ""
    mend: str = ""
    limit_source: str = ""
    scale: Scale | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """Everything one check says about one file. ``mesh`` is None when the file was rejected."""

    file: str
    verdict: Verdict
    reason: str
    findings: tuple[Finding, ...]
    unit: Unit | None = None  # the unit the numbers were taken in
    unit_reason: str = ""
    unit_proposed: Unit | None = None  # set when another unit fits better
    format: str = ""
    topology: Topology | None = None
    basics: Basics | None = None
    support: Support | None = None
    walls: Walls | None = None
    holes: tuple[Hole, ...] | Unknown = ()
    estimate: Estimate | Unknown = Unknown("not estimated")
    density_g_cm3: float = 1.24
    copies_in_file: int = 1  # how many of the part the file holds, by its hub holes
    small_features: tuple[SmallFeature, ...] = ()
    turn: Turn | Unknown = Unknown("not measured")
    signature: Signature | Unknown = Unknown("not measured")
    posed: bool = False  # measured lying otherwise than it is drawn
    mesh: Mesh | None = None
    seconds: float = 0.0
