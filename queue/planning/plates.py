"""Laying parts out on plates.

Circles and rectangles are packed exactly. A hull is packed, for now, inside the smaller of its enclosing circle and its
smallest enclosing rectangle (turned to lie straight on the bed): never too close to its neighbours, sometimes further
away than it need be. ``lay_out`` tries 20 orders and keeps the one with the fewest plates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planning.outlines import Outline, outline_of
from planning.packing import BedArrays, Parts, fill
from planning.types import Bed, Circle, Hull, Item, Misfit, PlacedItem, PlateLayout

ORDERS = 20


class ItemsDoNotFit(ValueError):
    """Some items cannot stand on the bed at all; ``misfits`` says which and why."""

    def __init__(self, misfits: Sequence[Misfit]) -> None:
        self.misfits = tuple(misfits)
        super().__init__("; ".join(f"{misfit.item_id}: {misfit.reason}" for misfit in self.misfits))


def misfits(items: Sequence[Item], bed: Bed, gap_mm: float = 5.0) -> tuple[Misfit, ...]:
    """The items that could not stand on the bed even alone, each with the reason."""
    reasons: dict[object, str | None] = {}
    found = []
    for item in items:
        if item.shape not in reasons:
            reasons[item.shape] = _why_not(item, bed, gap_mm)
        reason = reasons[item.shape]
        if reason:
            found.append(Misfit(item.id, reason))
    return tuple(found)


def lay_out(
    items: Sequence[Item],
    bed: Bed,
    gap_mm: float = 5.0,
    per_plate_max: int | None = None,
    kit_aligned: bool = False,
    seed: int = 0,
) -> tuple[PlateLayout, ...]:
    """Plates for all items, one material and colour to a plate, parts ``gap_mm`` apart.

    ``per_plate_max`` limits the copies on a plate. ``kit_aligned`` keeps a kit's items on one plate wherever they fit
    on one together (a failure then costs one team). The same items and seed give the same plates in any input order.
    Raises ``ItemsDoNotFit`` for items that cannot stand on the bed; use ``misfits`` to sort them out first.
    """
    if gap_mm < 0:
        raise ValueError("The gap between parts cannot be negative.")
    if per_plate_max is not None and per_plate_max < 1:
        raise ValueError("A plate must be allowed one copy at least.")
    if len({item.id for item in items}) != len(items):
        raise ValueError("Two items have the same id.")
    refused = misfits(items, bed, gap_mm)
    if refused:
        raise ItemsDoNotFit(refused)
    kinds: dict[tuple[str, str], list[Item]] = {}
    for item in sorted(items, key=lambda item: item.id):
        kinds.setdefault((item.material, item.colour), []).append(item)
    layouts: list[PlateLayout] = []
    for key in sorted(kinds):
        layouts += _lay_out_kind(kinds[key], bed, gap_mm, per_plate_max or len(items), kit_aligned, seed)
    return tuple(layouts)


@dataclass(frozen=True, slots=True)
class _Filled:
    """One way of filling plates: how many, and per item its plate, centre and quarter turns."""

    plates: int
    plate_of: list[int]
    x_mm: list[float]
    y_mm: list[float]
    quarter_turns: list[int]

    def rank(self) -> tuple[int, int]:
        """Fewer plates first, then fewer items on the last one."""
        return (self.plates, self.plate_of.count(self.plates - 1))


def _lay_out_kind(
    items: list[Item], bed: Bed, gap_mm: float, per_plate_max: int, kit_aligned: bool, seed: int
) -> list[PlateLayout]:
    outlines = [outline_of(item.shape.footprint) for item in items]
    groups = [[index] for index in range(len(items))]
    if kit_aligned:
        groups = _kit_groups(items, outlines, bed, gap_mm, per_plate_max)
    best = _best_fill(outlines, groups, bed, gap_mm, per_plate_max, seed)
    plates: list[list[PlacedItem]] = [[] for _ in range(best.plates)]
    area = [0.0] * best.plates
    for index, (item, outline) in enumerate(zip(items, outlines, strict=True)):
        plate = best.plate_of[index]
        plates[plate].append(outline.placed(item.id, best.x_mm[index], best.y_mm[index], best.quarter_turns[index]))
        area[plate] += outline.area_mm2
    return [
        PlateLayout(tuple(placed), used, items[0].material, items[0].colour)
        for placed, used in zip(plates, area, strict=True)
    ]


def _kit_groups(
    items: list[Item], outlines: list[Outline], bed: Bed, gap_mm: float, per_plate_max: int
) -> list[list[int]]:
    """Indices kit by kit; a kit that does not fit on one plate, and items without a kit, one by one."""
    kits: dict[str, list[int]] = {}
    groups = []
    for index, item in enumerate(items):
        if item.kit_id is None:
            groups.append([index])
        else:
            kits.setdefault(item.kit_id, []).append(index)
    for members in kits.values():
        members.sort(key=lambda index: -outlines[index].box_area_mm2)
        alone = _fill([outlines[index] for index in members], [list(range(len(members)))], bed, gap_mm, per_plate_max)
        groups += [members] if alone else [[index] for index in members]
    return groups


def _best_fill(
    outlines: list[Outline], groups: list[list[int]], bed: Bed, gap_mm: float, per_plate_max: int, seed: int
) -> _Filled:
    """The best of 20 orders: largest first, smallest first, and largest first with the sizes shaken by a quarter."""
    sizes = np.array([sum(outlines[index].box_area_mm2 for index in group) for group in groups])
    random = np.random.default_rng(seed)
    best: _Filled | None = None
    for attempt in range(ORDERS):
        key = sizes if attempt != 1 else -sizes
        if attempt > 1:
            key = sizes * random.uniform(0.75, 1.25, len(sizes))
        order = np.argsort(-key, kind="stable")
        filled = _fill(outlines, [groups[index] for index in order], bed, gap_mm, per_plate_max)
        if filled and (best is None or filled.rank() < best.rank()):
            best = filled
    assert best is not None, "every group was found to fit an empty plate"
    return best


def _fill(
    outlines: list[Outline], groups: list[list[int]], bed: Bed, gap_mm: float, per_plate_max: int
) -> _Filled | None:
    """Groups in order, first fit; None when one does not fit an empty plate."""
    parts = Parts(
        np.array([outline.half_width_mm for outline in outlines], np.float64),
        np.array([outline.half_depth_mm for outline in outlines], np.float64),
        np.array([outline.is_disc for outline in outlines], np.bool_),
    )
    group_from = np.zeros(len(groups) + 1, np.int64)
    group_from[1:] = np.cumsum([len(group) for group in groups])
    group_of = np.array([index for group in groups for index in group], np.int64)
    arrays = _bed_arrays(bed, gap_mm)
    capacity = min(per_plate_max, len(outlines))
    found = fill(arrays, parts, np.arange(len(groups)), group_from, group_of, capacity, len(groups))
    if found[0] < 0:
        return None
    return _Filled(
        int(found[0]),
        found[1].tolist(),
        (found[2] + bed.margin_mm).tolist(),
        (found[3] + bed.margin_mm).tolist(),
        found[4].tolist(),
    )


def _bed_arrays(bed: Bed, gap_mm: float) -> BedArrays:
    blocks = [
        (
            area.x_mm + area.width_mm / 2 - bed.margin_mm,
            area.y_mm + area.depth_mm / 2 - bed.margin_mm,
            area.width_mm / 2,
            area.depth_mm / 2,
        )
        for area in bed.keep_out
    ]
    # Always floats: whole numbers would be compiled for once more.
    width, depth = float(bed.width_mm - 2 * bed.margin_mm), float(bed.depth_mm - 2 * bed.margin_mm)
    radius = width / 2 if bed.is_round else 0.0
    return BedArrays(width, depth, radius, float(gap_mm), np.array(blocks, np.float64).reshape(-1, 4))


def _why_not(item: Item, bed: Bed, gap_mm: float) -> str | None:
    if item.shape.height_mm > bed.height_mm:
        return f"It is {item.shape.height_mm:.1f} mm tall; the printer makes parts up to {bed.height_mm:.1f} mm."
    outline = outline_of(item.shape.footprint)
    if _fill([outline], [[0]], bed, gap_mm, 1):
        return None
    inside = f"{bed.width_mm - 2 * bed.margin_mm:.0f}"
    room = f"a circle of {inside} mm" if bed.is_round else f"{inside} x {bed.depth_mm - 2 * bed.margin_mm:.0f} mm"
    if isinstance(item.shape.footprint, Circle):
        size = f"{2 * item.shape.footprint.radius_mm:.1f} mm across"
    else:
        size = f"{2 * outline.half_width_mm:.1f} x {2 * outline.half_depth_mm:.1f} mm"
    around = " around the areas kept free" if bed.keep_out else ""
    laid = " (laid out by the box around it)" if isinstance(item.shape.footprint, Hull) else ""
    return f"It is {size}{laid}; the bed has room for {room}{around}."
