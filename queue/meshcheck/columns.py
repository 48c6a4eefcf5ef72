"""The solid seen as upright columns: where each column enters and leaves the material.

Every triangle is scan-converted into a grid of columns; the hits of a column, ordered by height, give its
solid spans. Two faces that share an edge never both claim a column centre and never both miss it (half-open
rule on the same arithmetic), so a closed mesh gives balanced columns without any tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.types import FloatArray, IntArray

PITCH_MM = 0.25
FINEST_PITCH_MM = 0.1
COLUMNS_WISHED = 120_000
COLUMNS_MOST = 1_000_000
HITS_MOST = 8_000_000
# The grid stands turned against x and y, at a slope no drawing uses, so that long straight walls are not
# rounded to whole columns: their error averages out along the wall. For the same reason each row of columns
# is shifted by another fraction of the pitch (multiples of the golden ratio spread most evenly).
GOLDEN = float((np.sqrt(5) - 1) / 2)
GRID_TURN_RAD = float(np.arctan(GOLDEN))


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Solid stretches of columns along ``axis`` (0, 1 or 2), ordered by column and then by height.

    column (s,) int32; low_mm, high_mm (s,): heights where the column enters and leaves the material, overlapping
    bodies counted as one; low_face, high_face (s,) int32: the faces there; cross_mm (s, 2): the place of the column
    in the two other axes (cyclic order); pitch_mm: distance of the columns, whose area is ``pitch_mm ** 2``;
    columns: how many columns met the mesh; unbalanced: how many of them were left out because they left the
    material more or less often than they entered it, as happens where the skin has holes.
    """

    axis: int
    pitch_mm: float
    column: IntArray
    low_mm: FloatArray
    high_mm: FloatArray
    low_face: IntArray
    high_face: IntArray
    cross_mm: FloatArray
    columns: int
    unbalanced: int


@njit(cache=True, nogil=True)
def _row_range(y0, y1, y2, rows):  # type: ignore[no-untyped-def]
    return max(0, int(np.ceil(min(y0, y1, y2)))), min(rows - 1, int(np.floor(max(y0, y1, y2))))


@njit(cache=True, nogil=True)
def _columns_in_row(x, y, row, across, shift):  # type: ignore[no-untyped-def]
    """First and last column whose centre lies in the triangle on this row. Each side is taken from its lower
    to its upper end, so that both faces beside it compute the very same crossing."""
    left, right = np.inf, -np.inf
    for k in range(3):
        px, py, qx, qy = x[k], y[k], x[(k + 1) % 3], y[(k + 1) % 3]
        if (py <= row) != (qy <= row):
            if py > qy:
                px, py, qx, qy = qx, qy, px, py
            at = px + (row - py) / (qy - py) * (qx - px)
            left, right = min(left, at), max(right, at)
    if right < left:
        return 0, -1
    return max(0, int(np.floor(left - shift)) + 1), min(across - 1, int(np.floor(right - shift)))


@njit(cache=True, nogil=True)
def _scan(grid, height, faces, normals, shape, start, height_at, face_at, filling):  # type: ignore[no-untyped-def]
    """Visit every hit of a face and a column centre; grid (n, 2): vertex places in column units, height (n,).

    Counting: ``start[cell + 1]`` grows by one. Filling: the hit goes to ``start[cell]``, which moves on by one.
    """
    across, rows = shape
    x, y, z = np.empty(3), np.empty(3), np.empty(3)
    for i in range(faces.shape[0]):
        if normals[i, 2] == 0:
            continue
        for k in range(3):
            v = faces[i, k]
            x[k], y[k], z[k] = grid[v, 0], grid[v, 1], height[v]
        low, high = min(z[0], z[1], z[2]), max(z[0], z[1], z[2])
        slope_x, slope_y = normals[i, 0] / normals[i, 2], normals[i, 1] / normals[i, 2]
        first_row, last_row = _row_range(y[0], y[1], y[2], rows)
        for row in range(first_row, last_row + 1):
            shift = (row * GOLDEN) % 1.0
            first, last = _columns_in_row(x, y, row, across, shift)
            for column in range(first, last + 1):
                cell = row * across + column
                if not filling:
                    start[cell + 1] += 1
                    continue
                at = z[0] - slope_x * (column + shift - x[0]) - slope_y * (row - y[0])
                q = start[cell]
                start[cell] = q + 1
                height_at[q], face_at[q] = min(max(at, low), high), i


def _hits(
    grid: FloatArray, height: FloatArray, faces: IntArray, normals: FloatArray, shape: tuple[int, int]
) -> tuple[NDArray[np.int64], FloatArray, IntArray]:
    """Where faces meet column centres: start (cells + 1,), then height and face of every hit, cell by cell."""
    start = np.zeros(shape[0] * shape[1] + 1, np.int64)
    heights, at_faces = np.empty(0), np.empty(0, np.int32)
    _scan(grid, height, faces, normals, shape, start, heights, at_faces, False)
    start = np.cumsum(start)
    heights, at_faces = np.empty(start[-1]), np.empty(start[-1], np.int32)
    _scan(grid, height, faces, normals, shape, start[:-1].copy(), heights, at_faces, True)
    return start, heights, at_faces


@njit(cache=True, nogil=True)
def _sort_column(height, face, upward, a, b):  # type: ignore[no-untyped-def]
    """Order the hits a..b of one column by height, entries before exits at equal height.

    Shell's method with Ciura's steps: most columns have two or four hits, and a library sort costs seconds to compile.
    """
    for gap in (701, 301, 132, 57, 23, 10, 4, 1):
        for i in range(a + gap, b):
            h, f, j = height[i], face[i], i - gap
            while j >= a and (height[j] > h or (height[j] == h and upward[face[j]] and not upward[f])):
                height[j + gap], face[j + gap] = height[j], face[j]
                j -= gap
            height[j + gap], face[j + gap] = h, f


@njit(cache=True, nogil=True)
def _sort_columns(start, height, face, upward):  # type: ignore[no-untyped-def]
    for cell in range(start.size - 1):
        _sort_column(height, face, upward, start[cell], start[cell + 1])


@njit(cache=True, nogil=True)
def _spans(start, height, face, upward):  # type: ignore[no-untyped-def]
    most = height.size // 2
    column = np.empty(most, np.int32)
    ends = np.empty((most, 2))
    faces = np.empty((most, 2), np.int32)
    count, met, unbalanced = 0, 0, 0
    for cell in range(start.size - 1):
        a, b = start[cell], start[cell + 1]
        if a == b:
            continue
        met += 1
        depth, first, fair = 0, count, True
        for q in range(a, b):
            if not upward[face[q]]:
                if depth == 0:
                    if count == most:
                        fair = False
                        break
                    column[count], ends[count, 0], faces[count, 0] = cell, height[q], face[q]
                depth += 1
            else:
                depth -= 1
                if depth < 0:
                    fair = False
                    break
                if depth == 0:
                    ends[count, 1], faces[count, 1] = height[q], face[q]
                    count += 1
        if not fair or depth != 0:
            unbalanced += 1
            count = first
    return column[:count], ends[:count], faces[:count], met, unbalanced


def _pitch(spread: FloatArray, flat_area: FloatArray, wished_mm: float | None) -> float:
    """The distance of columns: 0.25 mm, less for a small part, more where columns or hits would grow too many."""
    box_mm2 = float(spread[0] * spread[1])
    if wished_mm is None:
        wished_mm = min(max(np.sqrt(box_mm2 / COLUMNS_WISHED), FINEST_PITCH_MM), PITCH_MM)
    by_hits = float(np.sqrt(np.abs(flat_area).sum() / HITS_MOST))
    return max(wished_mm, float(np.sqrt(box_mm2 / COLUMNS_MOST)), by_hits, float(spread.max()) / COLUMNS_MOST)


def _normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """(m, 3) outward normals, twice the area long."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.cross(b - a, c - a)


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """Where columns along ``axis`` meet faces, cell by cell in the order of height, entries before exits.

    start (cells + 1,): the hits of cell k are ``start[k]:start[k + 1]``; height_mm, face (h,); upward (m,) whether a
    face looks up the axis, so that a column leaves the material there; across: cells in a row; corner_mm (2,).
    """

    axis: int
    pitch_mm: float
    start: NDArray[np.int64]
    height_mm: FloatArray
    face: IntArray
    upward: NDArray[np.bool_]
    across: int
    corner_mm: FloatArray

    def cross_mm(self, cell: IntArray) -> FloatArray:
        """(k, 2) place of cells in the two axes after ``axis``, in cyclic order."""
        row = cell // self.across
        place = self.corner_mm + self.pitch_mm * np.column_stack([cell % self.across + (row * GOLDEN) % 1.0, row + 0.5])
        c, s = np.cos(GRID_TURN_RAD), np.sin(GRID_TURN_RAD)
        return np.column_stack([c * place[:, 0] + s * place[:, 1], -s * place[:, 0] + c * place[:, 1]])


def column_hits(vertices: FloatArray, faces: IntArray, *, axis: int = 2, pitch_mm: float | None = None) -> Hits:
    """Columns along ``axis`` through vertices (n, 3) in mm and faces (m, 3).

    Columns stand 0.25 mm apart, down to 0.1 mm in small parts; ``pitch_mm`` sets another distance. It grows by
    itself where a part would need more than ``COLUMNS_MOST`` columns.
    """
    first, second = (axis + 1) % 3, (axis + 2) % 3
    c, s = np.cos(GRID_TURN_RAD), np.sin(GRID_TURN_RAD)
    u, v = vertices[:, first], vertices[:, second]
    x, y = c * u - s * v, s * u + c * v
    corner = np.array([x.min(), y.min()])  # column by column: numpy is slow along short rows
    spread = np.array([x.max(), y.max()]) - corner
    height = np.ascontiguousarray(vertices[:, axis])
    faces = np.ascontiguousarray(faces, np.int32)
    normals = _normals(np.column_stack([x, y, height]), faces)
    pitch = _pitch(spread, normals[:, 2] / 2, pitch_mm)
    grid = np.column_stack([(x - corner[0]) / pitch, (y - corner[1]) / pitch - 0.5])
    shape = np.maximum(np.ceil(spread / pitch), 1).astype(np.int64)
    in_grid_units = normals * np.array([pitch, pitch, 1.0])  # heights change by slope times pitch from column to column
    start, height_at, face_at = _hits(grid, height, faces, in_grid_units, (int(shape[0]), int(shape[1])))
    upward = normals[:, 2] > 0
    _sort_columns(start, height_at, face_at, upward)
    return Hits(axis, pitch, start, height_at, face_at, upward, int(shape[0]), corner)


def solid_spans(vertices: FloatArray, faces: IntArray, *, axis: int = 2, pitch_mm: float | None = None) -> Spans:
    """Solid spans of the columns that ``column_hits`` describes."""
    hits = column_hits(vertices, faces, axis=axis, pitch_mm=pitch_mm)
    column, ends, at_faces, met, unbalanced = _spans(hits.start, hits.height_mm, hits.face, hits.upward)
    cross = hits.cross_mm(column)
    low, high = ends[:, 0], ends[:, 1]
    return Spans(
        axis, hits.pitch_mm, column, low, high, at_faces[:, 0], at_faces[:, 1], cross, int(met), int(unbalanced)
    )
