"""The path of the head through one layer: brim, walls, skin, infill, and the travel between them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from manifold3d import CrossSection
from numpy.typing import NDArray

from meshcheck.layers.lines import Rows, draw_loops, draw_rows, hatch
from meshcheck.layers.shapes import Loops, PartShapes, loops_of
from meshcheck.layers.support import NONE
from meshcheck.types import FloatArray


class Stroke(IntEnum):
    """What the head draws on its way to a point."""

    TRAVEL = 0
    OUTER_WALL = 1
    INNER_WALL = 2
    SKIN = 3
    INFILL = 4
    SUPPORT = 5
    RAFT = 6
    BRIM = 7
    GAP = 8


@dataclass(frozen=True, slots=True, eq=False)
class LayerPath:
    """points_mm (k, 2) in the part's own coordinates; strokes (k,) int8: the Stroke that ends at each point.

    The first stroke is always TRAVEL, and there is always a point: a layer without a line has the middle of its
    outline. ``thin_mm`` is the length of line for crumbs beside walls too small to be drawn; it
    counts in time and length.
    """

    points_mm: FloatArray
    strokes: NDArray[np.int8]
    thin_mm: float


Key = tuple[int, int, int, bool, bool]


def printed_layers(shapes: PartShapes) -> int:
    """How many layers are printed: those of the raft, then those of the part."""
    return shapes.settings.raft_layers + len(shapes.stack)


def layer_key(shapes: PartShapes, printed_layer: int) -> Key:
    """Layers with equal keys have the same path: outline (-1: raft), fill, support, odd or even, first on the bed."""
    part_layer = printed_layer - shapes.settings.raft_layers
    odd, first = bool(printed_layer % 2), printed_layer == 0
    if part_layer < 0:
        return (-1, -1, NONE, odd, first)
    outline, fill = int(shapes.outline_of[part_layer]), int(shapes.fill_of[part_layer])
    return (outline, fill, int(shapes.support.pattern_of[part_layer]), odd, first)


def layer_path(shapes: PartShapes, key: Key) -> LayerPath:
    """The path of the layers that have this key."""
    outline_number, fill_number, support_number, odd, first = key
    settings = shapes.settings
    width = settings.line_width_mm
    # lines cross those of the layer below at right angles (common practice, no source)
    angle = math.pi / 4 if odd else -math.pi / 4
    drawing = _Drawing()
    if first:
        drawing.loops([(Stroke.BRIM, loops) for loops in shapes.brim])
    if outline_number < 0:
        drawing.lines(Stroke.RAFT, loops_of(shapes.raft), angle, width)
        return drawing.path(0.0, shapes.raft)
    outline, fill = shapes.outlines[outline_number], shapes.fills[fill_number]
    if support_number != NONE:
        drawing.rows(Stroke.SUPPORT, shapes.support.patterns[support_number])
    drawing.loops([(Stroke.INNER_WALL if i else Stroke.OUTER_WALL, loops) for i, loops in enumerate(outline.walls)])
    drawing.strips(Stroke.GAP, outline.gaps.lines_mm)
    drawing.lines(Stroke.SKIN, loops_of(fill.skin), angle, width)
    if settings.infill_share > 0:
        drawing.lines(Stroke.INFILL, loops_of(fill.sparse), angle, width / settings.infill_share)
    section = shapes.outlines[0].section if outline.section.is_empty() else outline.section
    return drawing.path(outline.gaps.undrawn_mm2 / width, section)


class _Drawing:
    """Collects strokes end to end."""

    def __init__(self) -> None:
        self._points: list[FloatArray] = []
        self._strokes: list[NDArray[np.int8]] = []

    @property
    def _place(self) -> tuple[float, float]:
        if not self._points:
            return (0.0, 0.0)
        x, y = self._points[-1][-1]
        return (float(x), float(y))

    def _add(self, points: FloatArray, strokes: NDArray[np.int8]) -> None:
        if len(points):
            self._points.append(points)
            self._strokes.append(strokes)

    def loops(self, kinds: list[tuple[Stroke, Loops]]) -> None:
        loops = [loop for _, group in kinds for loop in group]
        if not loops:
            return
        # index -1, where the head travels, meets the last entry
        stroke_of = np.array([stroke for stroke, group in kinds for _ in group] + [Stroke.TRAVEL], np.int8)
        points, owner = draw_loops(loops, self._place)
        self._add(points, stroke_of[owner])

    def lines(self, stroke: Stroke, region: Loops, angle_rad: float, spacing_mm: float) -> None:
        if not region:
            return
        points, drawn = hatch(region, angle_rad, spacing_mm, self._place)
        self._add(points, np.where(drawn, np.int8(stroke), np.int8(Stroke.TRAVEL)))

    def rows(self, stroke: Stroke, rows: Rows) -> None:
        points, drawn = draw_rows(rows, self._place)
        self._add(points, np.where(drawn, np.int8(stroke), np.int8(Stroke.TRAVEL)))

    def strips(self, stroke: Stroke, strips: Sequence[FloatArray]) -> None:
        """Open lines, nearest end first."""
        left = list(range(len(strips)))
        ends = np.array([[strip[0], strip[-1]] for strip in strips]).reshape(-1, 2, 2)
        while left:
            away = np.hypot(*(ends[left] - self._place).T)  # (2, left)
            side, nearest = np.unravel_index(int(away.argmin()), away.shape)
            strip = strips[left.pop(int(nearest))]
            strokes = np.full(len(strip), stroke, np.int8)
            strokes[0] = Stroke.TRAVEL
            self._add(strip[::-1] if side else strip, strokes)

    def path(self, thin_mm: float, section: CrossSection) -> LayerPath:
        if not self._points:
            x0, y0, x1, y1 = section.bounds()
            return LayerPath(np.array([[(x0 + x1) / 2, (y0 + y1) / 2]]), np.zeros(1, np.int8), thin_mm)
        return LayerPath(np.concatenate(self._points), np.concatenate(self._strokes), thin_mm)
