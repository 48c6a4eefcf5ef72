"""What is measured on a mesh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from meshcheck.support_columns import SupportColumns
from meshcheck.types.bore import BoreShape
from meshcheck.types.plain import IntArray, Unknown, Vector

_ROUND = BoreShape()


@dataclass(frozen=True, slots=True)
class Basics:
    """Size and mass properties of the solid. The inertia is about the centre of mass for density 1:
    a 3 x 3 tensor in mm5 (multiply by density in kg/mm3 and 1e-6 for kg m2). Room that the skin encloses twice counts
    once, room enclosed the wrong way round not at all; both are told, and make the figures good to 1 % of them."""

    area_mm2: float
    lowest_mm: Vector
    highest_mm: Vector
    volume_mm3: float | Unknown
    centre_of_mass_mm: Vector | Unknown
    inertia_mm5: tuple[Vector, Vector, Vector] | Unknown
    doubled_mm3: float = 0.0
    inverted_mm3: float = 0.0

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
    none: bool = False  # no two sides face each other: there is nothing to be thin


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Where a skin passes through itself. faces: those that cut another face of their body; length_mm: of all cuts
    together; place_mm: the middle of the longest. ``complete`` is False when the search was given up, and there may
    be more."""

    faces: IntArray
    length_mm: float
    place_mm: Vector | None
    complete: bool


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
    shape: BoreShape = _ROUND


@dataclass(frozen=True, slots=True)
class SmallFeature:
    """A round pin or hole so narrow that it may break or close up, and its middle in the frame of the file."""

    kind: Literal["pin", "hole"]
    diameter_mm: float
    length_mm: float
    place_mm: Vector


@dataclass(frozen=True, slots=True)
class Signature:
    """What stays the same of a design however it is turned, placed or cut into triangles: one part's volume, area, and
    its three radii of gyration (square roots of the inertia's eigenvalues over the volume), ascending."""

    volume_mm3: float
    area_mm2: float
    gyration_mm: Vector


@dataclass(frozen=True, slots=True)
class Spin:
    """Of one wheel: mass in g, moment of inertia in g mm2 about its hub hole, largest distance in mm from that axis.

    ``centre_along_mm``: how far the mass centre lies from that axis towards the point furthest from it, as a lever has
    it; None where a file holds several. ``upright``: whether the axis stands on the bed.
    """

    mass_g: float
    inertia_g_mm2: float
    radius_mm: float
    centre_along_mm: float | None = None
    upright: bool = False


@dataclass(frozen=True, slots=True)
class Outside:
    """The outside of a part as it stands, at evenly spread heights above its lowest point.

    areas_mm2: what the outer outlines enclose there, hollows included. rounds_mm: length of a string drawn tight round
    all of it. open_below_mm2: what is open on the underside and is no engraving.
    """

    heights_mm: tuple[float, ...]
    areas_mm2: tuple[float, ...]
    rounds_mm: tuple[float, ...]
    open_below_mm2: float
