"""What a part is held against."""

from __future__ import annotations

from dataclasses import dataclass

from meshcheck.types.plain import Vector


@dataclass(frozen=True, slots=True)
class Gauge:
    """What a redesigned part must keep. Sizes in mm; None means not asked."""

    hole_diameter_mm: float | None = None
    hole_plus_mm: float = 0.10
    hole_minus_mm: float = 0.05
    hole_depth_mm: float | None = None
    hole_depth_tolerance_mm: float = 0.25
    through: bool | None = None
    bore_kind: str | None = None  # a BoreKind; with its measures as BoreShape has them
    bore_across_mm: float | None = None
    keyway_width_mm: float | None = None
    keyway_depth_mm: float | None = None
    hub_diameter_mm: float | None = None  # what must stay around the hole of the kit part
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
