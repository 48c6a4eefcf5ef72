"""Cut a mesh at many heights at once.

Every triangle is sorted into the planes it crosses (a counting sort), gives one directed segment per plane, and the
segments of a plane are chained into contours by the identity of the mesh edges they end on. Nothing is matched by
distance, so there is no tolerance: a vertex counts as above a plane when ``z >= plane``, which makes every plane
generic, also one that runs exactly through vertices or along a flat face.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from meshcheck.edges import edge_ids
from meshcheck.types import FloatArray, IntArray, Mesh
from telling import told

# About 100 bytes a segment while it is chained: a band takes 200 MB. The whole takes about ten seconds at most.
_BAND_SEGMENTS = 2_000_000
SEGMENTS_MOST = 150_000_000


class TooManySegments(ValueError):
    """The mesh is too fine for the number of layers to be cut in reasonable time and memory; ``words`` say why."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words


@dataclass(frozen=True, slots=True, eq=False)
class LayerSet:
    """Contours of a mesh at L heights, in ascending order of layer.

    heights_mm (L,) float64: the cutting planes.
    points_mm (p, 2) float64: contour vertices, end to end; material lies to the left, so outer contours run
    counter-clockwise and holes clockwise.
    starts (c + 1,) int64: contour i is ``points_mm[starts[i]:starts[i + 1]]``, its last point joins its first.
    layer (c,) int32: the layer of each contour. closed (c,) bool: False where the mesh has a gap.
    area_mm2 (L,), perimeter_mm (L,) float64: signed enclosed area and length, summed from the segments themselves;
    where bodies overlap the area counts twice.
    """

    heights_mm: FloatArray
    points_mm: FloatArray
    starts: NDArray[np.int64]
    layer: IntArray
    closed: NDArray[np.bool_]
    area_mm2: FloatArray
    perimeter_mm: FloatArray

    @property
    def first_contour(self) -> NDArray[np.int64]:
        """(L + 1,): contours of layer l are ``first_contour[l]`` up to ``first_contour[l + 1]``."""
        return np.searchsorted(self.layer, np.arange(len(self.heights_mm) + 1)).astype(np.int64)

    def contours(self, layer: int) -> list[FloatArray]:
        """The contours of one layer, each (k, 2) in mm."""
        first, last = np.searchsorted(self.layer, [layer, layer + 1])
        return [self.points_mm[self.starts[i] : self.starts[i + 1]] for i in range(first, last)]


def cut(mesh: Mesh, heights_mm: ArrayLike) -> LayerSet:
    """Contours of ``mesh`` at every height of ``heights_mm`` (L,), which must ascend.

    A mesh with gaps gives open contours (``closed`` False). ValueError when the heights do not ascend or are not
    finite, TooManySegments when the result would not fit in memory; ``cut_in_bands`` takes more.
    """
    job = _Job(mesh, heights_mm)
    if job.total > 10 * _BAND_SEGMENTS:
        raise TooManySegments(
            told("{count:,} segments; at most {most:,} are cut at once", count=job.total, most=10 * _BAND_SEGMENTS)
        )
    return job.band(0, len(job.heights))


def cut_in_bands(mesh: Mesh, heights_mm: ArrayLike) -> Iterator[LayerSet]:
    """The same as ``cut``, lowest layers first, in bands small enough for memory. TooManySegments before the first."""
    job = _Job(mesh, heights_mm)
    if job.total > SEGMENTS_MOST:
        raise TooManySegments(told("{count:,} segments; at most {most:,} are cut", count=job.total, most=SEGMENTS_MOST))
    ends = np.cumsum(job.per_layer)
    low = 0
    while low < len(job.heights):
        budget = (ends[low - 1] if low else 0) + _BAND_SEGMENTS
        high = max(low + 1, int(np.searchsorted(ends, budget, side="right")))
        yield job.band(low, high)
        low = high


class _Job:
    """A mesh and heights, checked and counted; bands of it can be cut one after the other."""

    def __init__(self, mesh: Mesh, heights_mm: ArrayLike) -> None:
        self.heights = np.ascontiguousarray(heights_mm, dtype=np.float64).reshape(-1)
        if not np.isfinite(self.heights).all() or (np.diff(self.heights) <= 0).any():
            raise ValueError("cutting heights must be finite and ascend")
        self._vertices = np.ascontiguousarray(mesh.vertices, dtype=np.float64)
        self._faces = np.ascontiguousarray(mesh.faces, dtype=np.int32)
        self._ids, self._edge_count = edge_ids(self._faces, len(self._vertices))
        # how many planes each vertex is above; a triangle meets those its corners do not agree on
        a, b, c = np.searchsorted(self.heights, self._vertices[:, 2], side="right")[self._faces].T
        self._first = np.minimum(np.minimum(a, b), c)
        self._last = np.maximum(np.maximum(a, b), c)
        size = len(self.heights) + 1
        begin_less_end = np.bincount(self._first, minlength=size) - np.bincount(self._last, minlength=size)
        self.per_layer = np.cumsum(begin_less_end)[:-1]
        self.total = int(self.per_layer.sum())

    def band(self, low: int, high: int) -> LayerSet:
        """Cut heights ``low`` up to ``high``."""
        heights = self.heights[low:high]
        first, last = (np.clip(end - low, 0, high - low) for end in (self._first, self._last))
        segments, edges, layer_start = _segments(self._vertices, self._faces, self._ids, heights, first, last)
        points, starts, layer, closed = _chain(segments, edges, layer_start, self._edge_count)
        area, perimeter = _sums(segments, layer_start)
        return LayerSet(heights, points, starts, layer, closed, area, perimeter)


@njit(cache=True, nogil=True)
def _segments(vertices, faces, edge_ids, heights, first, last):  # type: ignore[no-untyped-def]
    """One directed segment per triangle and plane, sorted by plane: ends (s, 4), edge ids of both ends (s, 2)."""
    layer_start = np.zeros(heights.size + 1, np.int64)
    for i in range(faces.shape[0]):
        for k in range(first[i], last[i]):
            layer_start[k + 1] += 1
    for k in range(heights.size):
        layer_start[k + 1] += layer_start[k]
    position = layer_start[:-1].copy()
    segments = np.empty((layer_start[-1], 4))
    edges = np.empty((layer_start[-1], 2), np.int32)
    for i in range(faces.shape[0]):
        for k in range(first[i], last[i]):
            s = position[k]
            position[k] = s + 1
            for c in range(3):
                u = faces[i, c]
                v = faces[i, (c + 1) % 3]
                u_above = vertices[u, 2] >= heights[k]
                if u_above == (vertices[v, 2] >= heights[k]):
                    continue
                # from the lower-numbered vertex, so that both triangles of an edge compute the same point
                a = min(u, v)
                b = max(u, v)
                t = (heights[k] - vertices[a, 2]) / (vertices[b, 2] - vertices[a, 2])
                end = 0 if u_above else 1  # the outline enters where the edge goes down: material stays on the left
                segments[s, 2 * end] = vertices[a, 0] + t * (vertices[b, 0] - vertices[a, 0])
                segments[s, 2 * end + 1] = vertices[a, 1] + t * (vertices[b, 1] - vertices[a, 1])
                edges[s, end] = edge_ids[3 * i + c]
    return segments, edges, layer_start


@njit(cache=True, nogil=True)
def _chain(segments, edges, layer_start, edge_count):  # type: ignore[no-untyped-def]
    """Walk from segment to segment over shared mesh edges until each contour closes (or runs into a gap)."""
    count = segments.shape[0]
    leaving = np.full(edge_count, -1, np.int32)  # segment that starts on this edge, in the current layer
    same_edge = np.full(count, -1, np.int32)  # the next one on the same edge, where more than two faces meet
    used = np.zeros(count, np.bool_)
    points = np.empty((2 * count, 2))  # an open contour has one point more than segments
    starts = np.empty(count + 1, np.int64)
    layer = np.empty(count, np.int32)
    closed = np.zeros(count, np.bool_)
    contours = 0
    filled = 0
    for k in range(layer_start.size - 1):
        low = layer_start[k]
        high = layer_start[k + 1]
        for s in range(low, high):
            same_edge[s] = leaving[edges[s, 0]]
            leaving[edges[s, 0]] = s
        for seed in range(low, high):
            if used[seed]:
                continue
            starts[contours] = filled
            layer[contours] = k
            s = seed
            while s >= 0:
                used[s] = True
                points[filled, 0] = segments[s, 0]
                points[filled, 1] = segments[s, 1]
                filled += 1
                if edges[s, 1] == edges[seed, 0]:
                    closed[contours] = True
                    break
                following = leaving[edges[s, 1]]
                while following >= 0 and used[following]:
                    following = same_edge[following]
                if following < 0:
                    points[filled, 0] = segments[s, 2]
                    points[filled, 1] = segments[s, 3]
                    filled += 1
                s = following
            contours += 1
        for s in range(low, high):
            leaving[edges[s, 0]] = -1
    starts[contours] = filled
    return points[:filled], starts[: contours + 1], layer[:contours], closed[:contours]


@njit(cache=True, nogil=True)
def _sums(segments, layer_start):  # type: ignore[no-untyped-def]
    """Signed area and length of every layer (L,), straight from its segments."""
    area = np.zeros(layer_start.size - 1)
    perimeter = np.zeros(layer_start.size - 1)
    for k in range(layer_start.size - 1):
        for s in range(layer_start[k], layer_start[k + 1]):
            x0, y0, x1, y1 = segments[s, 0], segments[s, 1], segments[s, 2], segments[s, 3]
            area[k] += 0.5 * (x0 * y1 - x1 * y0)
            perimeter[k] += np.hypot(x1 - x0, y1 - y0)
    return area, perimeter
