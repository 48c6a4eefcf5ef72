"""Laying parts out on plates.

Circles and rectangles are packed by ``planning.packing``. Where a part is neither, more ways are tried: each hull in
the smaller of its enclosing circle and smallest rectangle, and every part by its own corners (``planning.hullpacking``,
in quarter turns from where one side or another lies straight). ``lay_out`` tries several orders of each and keeps
the fewest plates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.hullpacking import TURNS, Bodies, Forms, NoFits, fill_hulls, no_fits
from planning.outlines import Outline, box_outline, exact_outlines, outline_of, turned
from planning.packing import BedArrays, Parts, fill
from planning.types import Bed, Circle, Hull, Item, Misfit, PlacedItem, PlateLayout

ORDERS = 20
# By corners an order takes about 0.03 ms x the square of the number of parts: as many as half a second is good for.
ORDERS_BY_CORNERS, SQUARES_BY_CORNERS = 6, 20_000
PAIR_CORNERS_MOST = 4_000_000  # of all pairs of turned outlines; 16 bytes each


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


class _Packing:
    """Parts with their outlines, and the bed, made ready for the kernels once: then filled in any order."""

    def __init__(self, outlines: list[Outline], bed: Bed, gap_mm: float) -> None:
        self.outlines, self.bed = outlines, bed
        self.arrays = _bed_arrays(bed, gap_mm)
        self.is_exact = any(outline.is_hull for outline in outlines)
        if self.is_exact:
            self.forms, self.bodies, self.block_forms = _bodies(outlines, bed)
            self.fits = NoFits(*no_fits(self.forms))
        else:
            self.parts = Parts(
                np.array([outline.half_width_mm for outline in outlines], np.float64),
                np.array([outline.half_depth_mm for outline in outlines], np.float64),
                np.array([outline.is_disc for outline in outlines], np.bool_),
            )

    def fill(self, groups: list[list[int]], per_plate_max: int) -> _Filled | None:
        """Groups in order, first fit; None when one does not fit an empty plate."""
        group_from = np.zeros(len(groups) + 1, np.int64)
        group_from[1:] = np.cumsum([len(group) for group in groups])
        group_of = np.array([index for group in groups for index in group], np.int64)
        order, capacity = np.arange(len(groups)), min(per_plate_max, len(self.outlines))
        rest = (order, group_from, group_of, capacity, len(groups))
        if self.is_exact:
            found = fill_hulls(self.arrays, self.forms, self.fits, self.bodies, self.block_forms, *rest)
        else:
            found = fill(self.arrays, self.parts, *rest)
        if found[0] < 0:
            return None
        margin = self.bed.margin_mm
        return _Filled(
            int(found[0]),
            found[1].tolist(),
            (found[2] + margin).tolist(),
            (found[3] + margin).tolist(),
            found[4].tolist(),
        )


def _bodies(outlines: list[Outline], bed: Bed) -> tuple[Forms, Bodies, NDArray[np.int64]]:
    """The turned outlines that differ, which of them each part and each area kept free has, and the parts' radii."""
    known: dict[frozenset[tuple[float, float]], int] = {}
    corners: list[list[tuple[float, float]]] = []

    def form_of(outline: Outline, turn: int) -> int:
        points = [turned(corner, 90.0 * turn) for corner in outline.corners]
        key = frozenset((round(x, 6), round(y, 6)) for x, y in points)
        if key not in known:
            known[key] = len(corners)
            corners.append(points)
        return known[key]

    rows = []
    for outline in outlines:
        row: list[int] = []
        for turn in range(TURNS):
            form = form_of(outline, turn)
            row.append(-1 if form in row else form)
        rows.append(row)
    blocks = [form_of(box_outline(area.width_mm / 2, area.depth_mm / 2), 0) for area in bed.keep_out]
    xs = [[x for x, _ in points] for points in corners]
    ys = [[y for _, y in points] for points in corners]
    count = np.array([len(points) for points in corners], np.int64)
    forms = Forms(
        np.concatenate([np.zeros(1, np.int64), np.cumsum(count)[:-1]]),
        count,
        np.concatenate([np.array(row, np.float64) for row in xs]),
        np.concatenate([np.array(row, np.float64) for row in ys]),
        np.array([(max(row) - min(row)) / 2 for row in xs], np.float64),
        np.array([(max(row) - min(row)) / 2 for row in ys], np.float64),
    )
    radii = [outline.half_width_mm if outline.is_disc else 0.0 for outline in outlines]
    return forms, Bodies(np.array(rows, np.int64), np.array(radii, np.float64)), np.array(blocks, np.int64)


def _packings(items: list[Item], bed: Bed, gap_mm: float) -> list[_Packing]:
    """The ways to outline the same parts: by simple outlines, and where there are hulls, by their corners."""
    simple = [outline_of(item.shape.footprint) for item in items]
    packings = []
    if all(_fits(outline, bed, gap_mm) for outline in set(simple)):
        packings.append(_Packing(simple, bed, gap_mm))
    hulls = {item.shape.footprint for item in items if isinstance(item.shape.footprint, Hull)}
    if hulls:
        by_corners = {hull: _exact_or_simple(hull, bed, gap_mm) for hull in hulls}
        for pick in (0, -1):  # along the one side, or along the other
            exact = [
                by_corners[footprint][pick] if isinstance(footprint, Hull) else outline
                for footprint, outline in zip((item.shape.footprint for item in items), simple, strict=True)
            ]
            if not packings or _pair_corners(exact) <= PAIR_CORNERS_MOST:
                packings.append(_Packing(exact, bed, gap_mm))
    return packings


def _pair_corners(outlines: list[Outline]) -> int:
    """How many corners the no-fit polygons of all pairs of turned outlines have at most."""
    different = set(outlines)
    return 2 * TURNS * len(different) * TURNS * sum(len(outline.corners) for outline in different)


def _exact_or_simple(hull: Hull, bed: Bed, gap_mm: float) -> tuple[Outline, ...]:
    """By its corners, along one side and another; in its circle or box in the rare case that only that finds a place,
    on a round bed."""
    exact = tuple(outline for outline in exact_outlines(hull) if _fits(outline, bed, gap_mm))
    return exact or (outline_of(hull),)


def _fits(outline: Outline, bed: Bed, gap_mm: float) -> bool:
    """Whether one part so outlined stands on the bed alone."""
    return _Packing([outline], bed, gap_mm).fill([[0]], 1) is not None


def _lay_out_kind(
    items: list[Item], bed: Bed, gap_mm: float, per_plate_max: int, kit_aligned: bool, seed: int
) -> list[PlateLayout]:
    tried = []
    for packing in _packings(items, bed, gap_mm):
        groups = [[index] for index in range(len(items))]
        if kit_aligned:
            groups = _kit_groups(items, packing, per_plate_max)
        tried.append((_best_fill(packing, groups, per_plate_max, seed), packing.outlines))
    best, outlines = min(tried, key=lambda one: one[0].rank())
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


def _kit_groups(items: list[Item], packing: _Packing, per_plate_max: int) -> list[list[int]]:
    """Indices kit by kit; a kit that does not fit on one plate, and items without a kit, one by one."""
    kits: dict[str, list[int]] = {}
    groups = []
    for index, item in enumerate(items):
        if item.kit_id is None:
            groups.append([index])
        else:
            kits.setdefault(item.kit_id, []).append(index)
    for members in kits.values():
        members.sort(key=lambda index: -packing.outlines[index].box_area_mm2)
        alone = packing.fill([members], per_plate_max)
        groups += [members] if alone else [[index] for index in members]
    return groups


def _best_fill(packing: _Packing, groups: list[list[int]], per_plate_max: int, seed: int) -> _Filled:
    """The best of some orders: largest first, smallest first, and largest first with the sizes shaken by a quarter."""
    sizes = np.array([sum(packing.outlines[index].box_area_mm2 for index in group) for group in groups])
    random = np.random.default_rng(seed)
    best: _Filled | None = None
    attempts = ORDERS
    if packing.is_exact:
        attempts = max(1, min(ORDERS_BY_CORNERS, SQUARES_BY_CORNERS // len(packing.outlines) ** 2))
    for attempt in range(attempts):
        key = sizes if attempt != 1 else -sizes
        if attempt > 1:
            key = sizes * random.uniform(0.75, 1.25, len(sizes))
        order = np.argsort(-key, kind="stable")
        filled = packing.fill([groups[index] for index in order], per_plate_max)
        if filled and (best is None or filled.rank() < best.rank()):
            best = filled
    assert best is not None, "every group was found to fit an empty plate"
    return best


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
    if any(_fits(each, bed, gap_mm) for each in (outline, *exact_outlines(item.shape.footprint))):
        return None
    inside = f"{bed.width_mm - 2 * bed.margin_mm:.0f}"
    room = f"a circle of {inside} mm" if bed.is_round else f"{inside} x {bed.depth_mm - 2 * bed.margin_mm:.0f} mm"
    if isinstance(item.shape.footprint, Circle):
        size = f"{2 * item.shape.footprint.radius_mm:.1f} mm across"
    else:
        size = f"{2 * outline.half_width_mm:.1f} x {2 * outline.half_depth_mm:.1f} mm"
    around = " around the areas kept free" if bed.keep_out else ""
    laid = " (laid straight)" if isinstance(item.shape.footprint, Hull) else ""
    return f"It is {size}{laid}; the bed has room for {room}{around}."
