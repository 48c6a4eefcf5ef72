"""Beds, outlines and plate layouts: the values of ``planning.plates``. Import them from ``planning.types``.

Lengths are millimetres, angles degrees anticlockwise seen from above.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Area:
    """An upright rectangle on a bed, by its front-left corner and size (for instance where a clip holds the plate)."""

    x_mm: float
    y_mm: float
    width_mm: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class Bed:
    """What a printer can hold. The origin is the front-left corner; of a round bed, that of its bounding square.

    ``margin_mm`` is kept free along the whole edge; parts also stay clear of every ``keep_out`` area (by the layout's
    gap). ``height_mm`` is the tallest part the printer can make. Build with ``Bed.rectangle`` or ``Bed.circle``.
    """

    width_mm: float
    depth_mm: float
    height_mm: float
    is_round: bool = False
    margin_mm: float = 5.0
    keep_out: tuple[Area, ...] = ()

    def __post_init__(self) -> None:
        if min(self.width_mm, self.depth_mm, self.height_mm) <= 0:
            raise ValueError("A bed needs a width, a depth and a height above zero.")
        if self.is_round and self.width_mm != self.depth_mm:
            raise ValueError("A round bed is as deep as it is wide.")
        if not 0 <= 2 * self.margin_mm < min(self.width_mm, self.depth_mm):
            raise ValueError("The margin must be zero or more and leave room in the middle of the bed.")

    @classmethod
    def rectangle(
        cls,
        width_mm: float,
        depth_mm: float,
        height_mm: float,
        margin_mm: float = 5.0,
        keep_out: tuple[Area, ...] = (),
    ) -> Bed:
        """A rectangular bed of the given size."""
        return cls(width_mm, depth_mm, height_mm, False, margin_mm, keep_out)

    @classmethod
    def circle(
        cls, diameter_mm: float, height_mm: float, margin_mm: float = 5.0, keep_out: tuple[Area, ...] = ()
    ) -> Bed:
        """A round bed of the given diameter."""
        return cls(diameter_mm, diameter_mm, height_mm, True, margin_mm, keep_out)


@dataclass(frozen=True, slots=True)
class Circle:
    """The outline of a wheel or any part whose shadow is a disc."""

    radius_mm: float

    def __post_init__(self) -> None:
        if not self.radius_mm > 0:
            raise ValueError("A circle needs a radius above zero.")


@dataclass(frozen=True, slots=True)
class Rectangle:
    """The outline of a box-like part: width along x, depth along y, before turning."""

    width_mm: float
    depth_mm: float

    def __post_init__(self) -> None:
        if not (self.width_mm > 0 and self.depth_mm > 0):
            raise ValueError("A rectangle needs a width and a depth above zero.")


@dataclass(frozen=True, slots=True)
class Hull:
    """The convex hull of a part's shadow: corners in order, clockwise or not. Inner corners are taken out on use.

    The footprint's centre is the centre of the bounding box of these points before turning.
    """

    points_mm: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if len(self.points_mm) < 3:
            raise ValueError("A hull needs three corners or more.")


Footprint = Circle | Rectangle | Hull


@dataclass(frozen=True, slots=True)
class Shape:
    """A part as the bed sees it: its outline and how tall it is."""

    footprint: Footprint
    height_mm: float


@dataclass(frozen=True, slots=True)
class Item:
    """One copy to be placed. ``kit_id`` is the team's kit it belongs to; None for a spare."""

    id: str
    shape: Shape
    material: str
    colour: str
    kit_id: str | None = None


@dataclass(frozen=True, slots=True)
class PlacedItem:
    """Where one copy stands: its footprint's centre on the bed, and its turn about that centre."""

    item_id: str
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class PlateLayout:
    """One plate: copies of one material and colour on one bed. ``used_area_mm2`` is the sum of their footprints."""

    items: tuple[PlacedItem, ...]
    used_area_mm2: float
    material: str
    colour: str


@dataclass(frozen=True, slots=True)
class Misfit:
    """An item that cannot stand on the bed at all, and why, in plain words."""

    item_id: str
    reason: str
