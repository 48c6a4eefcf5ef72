"""Outlines made ready for the packing kernels once, then filled on plates in any order."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planning.hullpacking import TURNS, Bodies, Forms, NoFits, fill_hulls, no_fits
from planning.outlines import Outline, box_outline, turned
from planning.packing import BedArrays, Parts, fill
from planning.types import Bed


@dataclass(frozen=True, slots=True)
class Filled:
    """One way of filling plates: how many, and per item its plate, centre and quarter turns."""

    plates: int
    plate_of: list[int]
    x_mm: list[float]
    y_mm: list[float]
    quarter_turns: list[int]

    @classmethod
    def of(cls, found: tuple[Any, ...], margin_mm: float) -> Filled | None:
        """From what a kernel returns; None when something found no place."""
        if found[0] < 0:
            return None
        x_mm, y_mm = (found[2] + margin_mm).tolist(), (found[3] + margin_mm).tolist()
        return cls(int(found[0]), found[1].tolist(), x_mm, y_mm, found[4].tolist())

    def rank(self) -> tuple[int, int]:
        """Fewer plates first, then fewer items on the last one."""
        return (self.plates, self.plate_of.count(self.plates - 1))


class Packing:
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

    def fill(self, groups: list[list[int]], per_plate_max: int) -> Filled | None:
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
        return Filled.of(found, self.bed.margin_mm)


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

    forms_of: dict[Outline, list[int]] = {}
    for outline in dict.fromkeys(outlines):
        row: list[int] = []
        for turn in range(TURNS):
            form = form_of(outline, turn)
            row.append(-1 if form in row else form)
        forms_of[outline] = row
    rows = [forms_of[outline] for outline in outlines]
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


@lru_cache(maxsize=1024)
def fits(outline: Outline, bed: Bed, gap_mm: float) -> bool:
    """Whether one part so outlined stands on the bed alone."""
    return Packing([outline], bed, gap_mm).fill([[0]], 1) is not None


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
