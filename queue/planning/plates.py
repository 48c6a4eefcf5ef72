"""Laying parts out on plates.

Circles and rectangles are packed by ``planning.packing``. Where a part is neither, more ways are tried: each hull in
the smaller of its enclosing circle and smallest rectangle, and every part by its own corners (``planning.hullpacking``,
in quarter turns from where one side or another lies straight). On a rectangular bed all parts are packed as boxes too
(``planning.boxpacking``). ``lay_out`` tries several orders of each and keeps the fewest plates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from planning.boxpacking import RULES, STEP_MM, fill_boxes, steps
from planning.filling import Filled, Packing, fits
from planning.hullpacking import TURNS
from planning.outlines import Outline, exact_outlines, outline_of, smallest_box
from planning.types import Bed, Circle, Hull, Item, Misfit, PlacedItem, PlateLayout, Shape
from telling import told

ORDERS = 20
# By corners an order takes about 0.03 ms x the square of the number of parts: as many as half a second is good for.
ORDERS_BY_CORNERS, SQUARES_BY_CORNERS = 6, 20_000
GIVEN_UP_AFTER, LIKELY_RECIPES, SHAKEN_AS_BOXES, PARTS_AS_BOXES = 24, 8, 400, 20_000
PAIR_CORNERS_MOST = 4_000_000  # of all pairs of turned outlines; 16 bytes each


# Number of the size to sort by, of how they lie, the rule, and whether the first plate with a place is taken.
_Recipe = tuple[int, int, int, bool]


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
            reasons[item.shape] = _why_not(item.shape, bed, gap_mm)
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


def _packings(items: list[Item], bed: Bed, gap_mm: float) -> list[Packing]:
    """The ways to outline the same parts: by simple outlines, and where there are hulls, by their corners."""
    simple = [outline_of(item.shape.footprint) for item in items]
    packings = []
    if all(fits(outline, bed, gap_mm) for outline in set(simple)):
        packings.append(Packing(simple, bed, gap_mm))
    hulls = {item.shape.footprint for item in items if isinstance(item.shape.footprint, Hull)}
    if hulls:
        by_corners = {hull: _exact_or_simple(hull, bed, gap_mm) for hull in hulls}
        for pick in (0, -1):  # along the one side, or along the other
            exact = [
                by_corners[footprint][pick] if isinstance(footprint, Hull) else outline
                for footprint, outline in zip((item.shape.footprint for item in items), simple, strict=True)
            ]
            if not packings or _pair_corners(exact) <= PAIR_CORNERS_MOST:
                packings.append(Packing(exact, bed, gap_mm))
    return packings


def _pair_corners(outlines: list[Outline]) -> int:
    """How many corners the no-fit polygons of all pairs of turned outlines have at most."""
    different = set(outlines)
    return 2 * TURNS * len(different) * TURNS * sum(len(outline.corners) for outline in different)


def _exact_or_simple(hull: Hull, bed: Bed, gap_mm: float) -> tuple[Outline, ...]:
    """By its corners, along one side and another; in its circle or box in the rare case that only that finds a place,
    on a round bed."""
    exact = tuple(outline for outline in exact_outlines(hull) if fits(outline, bed, gap_mm))
    return exact or (outline_of(hull),)


def _lay_out_kind(
    items: list[Item], bed: Bed, gap_mm: float, per_plate_max: int, kit_aligned: bool, seed: int
) -> list[PlateLayout]:
    tried = []
    for packing in _packings(items, bed, gap_mm):
        groups = [[index] for index in range(len(items))]
        if kit_aligned:
            groups = _kit_groups(items, packing, per_plate_max)
        tried.append((_best_fill(packing, groups, per_plate_max, seed), packing.outlines))
    boxes = [smallest_box(item.shape.footprint) for item in items]
    if not bed.is_round and not kit_aligned:
        fewest = min(filled.plates for filled, _ in tried)
        if fewest > _plates_at_least(boxes, bed, per_plate_max):
            as_boxes = _Boxes(boxes, bed, gap_mm, per_plate_max).best(seed, fewest)
            tried += [(as_boxes, boxes)] if as_boxes else []
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


def _kit_groups(items: list[Item], packing: Packing, per_plate_max: int) -> list[list[int]]:
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


def _best_fill(packing: Packing, groups: list[list[int]], per_plate_max: int, seed: int) -> Filled:
    """The best of some orders: largest first, smallest first, and largest first with the sizes shaken by a quarter.
    An order that only swaps groups that are alike, as the kits of all teams are, gives the same plates and is left
    out."""
    sizes = np.array([sum(packing.outlines[index].box_area_mm2 for index in group) for group in groups])
    kinds = _kinds_of(packing.outlines, groups)
    filled_before: set[bytes] = set()
    random = np.random.default_rng(seed)
    best: Filled | None = None
    attempts = ORDERS
    if packing.is_exact:
        attempts = max(1, min(ORDERS_BY_CORNERS, SQUARES_BY_CORNERS // len(packing.outlines) ** 2))
    for attempt in range(attempts):
        key = sizes if attempt != 1 else -sizes
        if attempt > 1:
            key = sizes * random.uniform(0.75, 1.25, len(sizes))
        order = np.argsort(-key, kind="stable")
        if (pattern := kinds[order].tobytes()) in filled_before:
            continue
        filled_before.add(pattern)
        filled = packing.fill([groups[index] for index in order], per_plate_max)
        if filled and (best is None or filled.rank() < best.rank()):
            best = filled
    assert best is not None, "every group was found to fit an empty plate"
    return best


def _kinds_of(outlines: Sequence[Outline], groups: Sequence[Sequence[int]]) -> NDArray[np.int64]:
    """(g,) a number for each group: equal where the groups hold equal outlines in the same order."""
    numbers: dict[Outline, int] = {}
    kind_of_part = [numbers.setdefault(outline, len(numbers)) for outline in outlines]
    kinds: dict[tuple[int, ...], int] = {}
    found = [kinds.setdefault(tuple(kind_of_part[index] for index in group), len(kinds)) for group in groups]
    return np.array(found, np.int64)


def _plates_at_least(outlines: list[Outline], bed: Bed, per_plate_max: int) -> int:
    """By the parts' areas and number no layout can do with fewer."""
    usable = (bed.width_mm - 2 * bed.margin_mm) * (bed.depth_mm - 2 * bed.margin_mm)
    by_area = sum(outline.area_mm2 for outline in outlines) / usable
    return math.ceil(max(by_area - 1e-9, len(outlines) / per_plate_max))


class _Boxes:
    """Parts as boxes on a rectangular bed, to be filled by any recipe of ``planning.boxpacking``."""

    def __init__(self, outlines: list[Outline], bed: Bed, gap_mm: float, per_plate_max: int) -> None:
        self.half = np.array([(outline.half_width_mm, outline.half_depth_mm) for outline in outlines], np.float64)
        self.bed_size, self.blocks = _bed_in_steps(bed, gap_mm)
        self.gap_mm, self.margin_mm = gap_mm, bed.margin_mm
        self.capacity, self.at_least = min(per_plate_max, len(outlines)), _plates_at_least(outlines, bed, per_plate_max)
        across = self.half[:, 0] >= self.half[:, 1]
        self.lying = (np.zeros(len(outlines), np.bool_), ~across, across)  # which are turned beforehand
        self.sizes = (self.half.prod(axis=1), self.half.max(axis=1), self.half.min(axis=1), self.half.sum(axis=1))

    def recipes(self) -> list[_Recipe]:
        """By area, either side or both; as they came, all across or all deep; every rule; first or best fit."""
        return list(product(range(len(self.sizes)), range(len(self.lying)), range(RULES), (True, False)))

    def fill(self, recipe: _Recipe, shaken: NDArray[np.float64] | float) -> Filled | None:
        """None where a box has no place at all, as by a hull that fits only by its corners."""
        size, lying, rule, first_fit = recipe
        turned_first = self.lying[lying]
        boxes = np.where(turned_first[:, None], self.half[:, ::-1], self.half)
        order = np.argsort(-self.sizes[size] * shaken, kind="stable")
        extent = steps(2 * boxes + self.gap_mm)
        found = fill_boxes(self.bed_size, self.blocks, extent, order, self.capacity, rule, first_fit)
        plates, plate_of, left, front, turns = found
        middle = np.where((turns == 1)[:, None], boxes[:, ::-1], boxes).T + np.array([left, front]) * STEP_MM
        return Filled.of((plates, plate_of, *middle, turns ^ turned_first), self.margin_mm)

    def best(self, seed: int, to_beat: int) -> Filled | None:
        """Every recipe once, then the best of them with the sizes shaken by a quarter, for as long as they may come to
        fewer plates than the ``to_beat`` found otherwise."""
        ranked: list[tuple[tuple[int, int], int, Filled, _Recipe]] = []
        for number, recipe in enumerate(self.recipes()):
            filled = self.fill(recipe, 1.0)
            if filled is None:
                return None
            ranked.append((filled.rank(), number, filled, recipe))
            if number + 1 == GIVEN_UP_AFTER and min(ranked)[2].plates > to_beat + 1:
                return None
        ranked.sort()
        best = ranked[0][2]
        if best.plates > to_beat or len(np.unique(np.sort(self.half, axis=1), axis=0)) == 1:
            return best  # boxes of one size stay in order however they are shaken
        random = np.random.default_rng(seed)
        for attempt in range(min(SHAKEN_AS_BOXES, PARTS_AS_BOXES // len(self.half))):
            if best.plates <= self.at_least:
                break
            recipe = ranked[attempt % LIKELY_RECIPES][3]
            filled = self.fill(recipe, random.uniform(0.75, 1.25, len(self.half)))
            best = filled if filled and filled.rank() < best.rank() else best
        return best


def _bed_in_steps(bed: Bed, gap_mm: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """A rectangular bed and its areas kept free as ``planning.boxpacking`` has them."""
    usable = np.array([bed.width_mm, bed.depth_mm]) - 2 * bed.margin_mm + gap_mm
    blocks = [
        (
            *-steps(-np.array([area.x_mm - bed.margin_mm, area.y_mm - bed.margin_mm])),
            *(steps(np.array([area.width_mm, area.depth_mm]) + gap_mm) + 1),  # its left and front were rounded down
        )
        for area in bed.keep_out
    ]
    return -steps(-usable), np.array(blocks, np.int64).reshape(-1, 4)


def _why_not(shape: Shape, bed: Bed, gap_mm: float) -> str | None:
    if shape.height_mm > bed.height_mm:
        text = "It is {height:.1f} mm tall; the printer makes parts up to {most:.1f} mm."
        return told(text, height=shape.height_mm, most=bed.height_mm)
    outline = outline_of(shape.footprint)
    if any(fits(each, bed, gap_mm) for each in (outline, *exact_outlines(shape.footprint))):
        return None
    usable = {"width": bed.width_mm - 2 * bed.margin_mm, "depth": bed.depth_mm - 2 * bed.margin_mm}
    room = told("a circle of {width:.0f} mm" if bed.is_round else "{width:.0f} x {depth:.0f} mm", **usable)
    if isinstance(shape.footprint, Circle):
        size = told("{width:.1f} mm across", width=2 * shape.footprint.radius_mm)
    else:
        lies = {"width": 2 * outline.half_width_mm, "depth": 2 * outline.half_depth_mm}
        box, straight = "{width:.1f} x {depth:.1f} mm", "{width:.1f} x {depth:.1f} mm (laid straight)"
        size = told(straight if isinstance(shape.footprint, Hull) else box, **lies)
    around = "It is {size}; the bed has room for {room} around the areas kept free."
    return told(around if bed.keep_out else "It is {size}; the bed has room for {room}.", size=size, room=room)
