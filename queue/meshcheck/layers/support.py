"""Support drawn as lines: which columns stand in which layer, and the rows of lines through them.

All layers share the same rows, so that every line stands on the line below it, as support must. Mass comes from the
volume of the columns and the share that is filled, time from the lines; where a patch is so narrow that the rows miss
it, the length it would take is counted without being drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, FillRule
from numba import njit
from numpy.typing import NDArray

from meshcheck.layers.lines import Rows
from meshcheck.layers.stack import Stack
from meshcheck.support_columns import SupportColumns
from meshcheck.types import FloatArray, IntArray, PrintSettings, Support, Unknown
from telling import told

AUTO_SUPPORT_MM2 = 5.0  # smaller undersides hang on their neighbours (common practice, no source)
NONE = -1  # a layer without support


@dataclass(frozen=True, slots=True, eq=False)
class SupportLayers:
    """Support of one part, layer by layer. ``volume_mm3`` is the plastic in it. ``pattern_of`` (L,) is the number of
    each layer's pattern of lines, or NONE; ``undrawn_mm`` (L,) the length of line no row meets. ``foot`` is the shape
    in which it stands on the bed."""

    volume_mm3: float
    patterns: tuple[Rows, ...]
    pattern_of: IntArray
    undrawn_mm: FloatArray
    foot: CrossSection


def wanted_support(support: Support | None, settings: PrintSettings) -> Support | Unknown | None:
    """The support that is to be printed: none when the settings want none, or "auto" finds too little underside for
    it; Unknown when it is wanted but could not be measured."""
    if support is None or settings.support == "off" or settings.support_share == 0:
        return None
    if settings.support == "auto" and support.overhang_area_mm2 <= AUTO_SUPPORT_MM2:
        return None
    if isinstance(support.volume_mm3, Unknown):
        return Unknown(told("its support could not be measured: {because}", because=support.volume_mm3.because))
    return support if support.volume_mm3 > 0 else None


def support_layers(support: Support | None, stack: Stack, settings: PrintSettings) -> SupportLayers:
    """The lines of ``support``, which is wanted and measured (see ``wanted_support``), in the layers of ``stack``."""
    none = np.full(len(stack), NONE, np.int32)
    if support is None or isinstance(support.volume_mm3, Unknown):
        return SupportLayers(0.0, (), none, np.zeros(len(stack)), CrossSection())
    volume_mm3 = support.volume_mm3 * settings.support_share
    columns = support.columns
    if columns is None or len(columns.row) == 0:  # nobody knows where it stands: spread over all layers
        length = volume_mm3 / float(stack.thickness_mm.sum()) / settings.line_width_mm
        return SupportLayers(volume_mm3, (), none, np.full(len(stack), length), CrossSection())
    rows, pattern_of = _patterns(columns, stack, settings)
    drawn = np.array([pattern.length_mm for pattern in rows] + [0.0])[pattern_of]  # NONE meets the last entry
    wanted = _areas(columns, stack) * settings.support_share / settings.line_width_mm
    # rows miss a little here and meet a little more there: only what is missing in all is made up for
    missing = max(0.0, 1 - float(drawn.sum()) / float(wanted.sum())) if wanted.any() else 0.0
    return SupportLayers(volume_mm3, rows, pattern_of, wanted * missing, _foot(columns, stack))


def _areas(columns: SupportColumns, stack: Stack) -> FloatArray:
    """(L,) mm2 of support at the middle of every layer."""
    size = len(stack) + 1
    first, last = (np.searchsorted(stack.middle_mm, end) for end in (columns.bottom_mm, columns.top_mm))
    count = np.bincount(first, minlength=size) - np.bincount(last, minlength=size)
    areas: FloatArray = np.cumsum(count)[:-1] * columns.pitch_mm**2
    return areas


def _patterns(columns: SupportColumns, stack: Stack, settings: PrintSettings) -> tuple[tuple[Rows, ...], IntArray]:
    """Each different layer's lines once, and which layer has which."""
    spacing = settings.line_width_mm / settings.support_share
    low = columns.first_mm / spacing - 0.5
    high = (columns.first_mm + int(columns.row[-1]) * columns.pitch_mm) / spacing - 0.5
    lines = np.arange(math.floor(low), math.ceil(high) + 1)
    # each line is cut from the row of columns nearest to it
    row = np.rint(((lines + 0.5) * spacing - columns.first_mm) / columns.pitch_mm)
    line, picked = _pick(np.searchsorted(columns.row, row), np.searchsorted(columns.row, row, side="right"))
    along, bottom, top = (
        np.ascontiguousarray(v[picked]) for v in (columns.along_mm, columns.bottom_mm, columns.top_mm)
    )
    known: dict[bytes, int] = {}
    patterns: list[Rows] = []
    pattern_of = np.empty(len(stack), np.int32)
    for k, height in enumerate(stack.middle_mm):
        start, ends = _runs_at(line, along, bottom, top, float(height), columns.pitch_mm, len(lines))
        if not len(ends):
            pattern_of[k] = NONE
            continue
        key = start.tobytes() + ends.tobytes()
        if key not in known:
            known[key] = len(patterns)
            patterns.append(Rows(start, ends, int(lines[0]), columns.angle_rad, spacing))
        pattern_of[k] = known[key]
    return tuple(patterns), pattern_of


def _pick(begin: NDArray[np.int64], end: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The numbers begin..end of every line, end to end, and the line each belongs to."""
    size = end - begin
    line = np.repeat(np.arange(len(size)), size)
    offset = np.repeat(begin - np.concatenate([[0], np.cumsum(size)[:-1]]), size)
    return line, np.arange(int(size.sum())) + offset


@njit(cache=True, nogil=True)
def _runs_at(line, along, bottom, top, height, pitch, lines):  # type: ignore[no-untyped-def]
    """Stretches of neighbouring columns that hold support at a height: row starts (lines + 1,) and their ends."""
    start = np.zeros(lines + 1, np.int64)
    ends = np.empty(2 * line.size)
    filled = 0
    at = -1
    for i in range(line.size):
        if height < bottom[i] or height >= top[i]:
            continue
        if at == line[i] and along[i] - ends[filled - 1] < pitch:
            ends[filled - 1] = along[i] + 0.5 * pitch
            continue
        at = line[i]
        ends[filled] = along[i] - 0.5 * pitch
        ends[filled + 1] = along[i] + 0.5 * pitch
        filled += 2
        start[at + 1] += 2
    for row in range(lines):
        start[row + 1] += start[row]
    return start, ends[:filled].copy()


def _foot(columns: SupportColumns, stack: Stack) -> CrossSection:
    """The outline of what stands on the bed, out of one rectangle for every stretch of a row."""
    height = float(stack.middle_mm[0])
    row = columns.row.astype(np.int64)
    start, ends = _runs_at(
        row, columns.along_mm, columns.bottom_mm, columns.top_mm, height, columns.pitch_mm, int(row[-1]) + 1
    )
    if not len(ends):
        return CrossSection()
    across = columns.first_mm + columns.pitch_mm * np.repeat(np.arange(len(start) - 1), np.diff(start) // 2)
    low, high, half = ends[::2], ends[1::2], columns.pitch_mm / 2
    corners = np.array([[low, across - half], [high, across - half], [high, across + half], [low, across + half]])
    rectangles = np.ascontiguousarray(corners.transpose(2, 0, 1))
    foot = CrossSection(list(rectangles), FillRule.Positive).simplify(half)
    return foot.rotate(math.degrees(columns.angle_rad))
