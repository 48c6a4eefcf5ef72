"""The different layer shapes of a part: most layers of most parts repeat one that was there before."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from meshcheck.layers.cut import LayerSet, TooManySegments, cut_in_bands
from meshcheck.layers.thin import contour_areas, thin
from meshcheck.types import FloatArray, IntArray, Mesh
from telling import told

_SAME_MM = 1e-5  # layers whose points agree to this are the same layer
# Two million corners take about half a minute to offset and combine; a detailed figure has a quarter of a million.
CORNERS_MOST = 2_000_000


@dataclass(frozen=True, slots=True, eq=False)
class LayerShape:
    """Thinned contours, each (k, 2) in mm, and the exact area over that of the thinned contours."""

    contours: tuple[FloatArray, ...]
    exact_share: float


@dataclass(frozen=True, slots=True, eq=False)
class DistinctLayers:
    """shape_of (L,) numbers the shape of every layer; area_mm2 (L,) is the signed area of the exact contours."""

    shapes: tuple[LayerShape, ...]
    shape_of: IntArray
    area_mm2: FloatArray


def distinct_layers(mesh: Mesh, heights_mm: FloatArray, thinning_mm: float) -> DistinctLayers:
    """Cut at all heights (L,), thin, and keep one of each shape. TooManySegments when the shapes are too fine."""
    known: dict[tuple[bytes, bytes], int] = {}
    shapes: list[LayerShape] = []
    shape_of: list[int] = []
    areas: list[FloatArray] = []
    corners = 0
    for band in cut_in_bands(mesh, heights_mm):
        for key, contours, share in _thinned(band, thinning_mm):
            if key not in known:
                known[key] = len(shapes)
                shapes.append(LayerShape(contours, share))
                corners += sum(len(contour) for contour in contours)
                if corners > CORNERS_MOST:
                    raise TooManySegments(
                        told("its different layers have more than {most:,} corners", most=CORNERS_MOST)
                    )
            shape_of.append(known[key])
        areas.append(band.area_mm2)
    return DistinctLayers(tuple(shapes), np.array(shape_of, np.int32), np.concatenate(areas))


def _thinned(band: LayerSet, thinning_mm: float) -> list[tuple[tuple[bytes, bytes], tuple[FloatArray, ...], float]]:
    """For every layer of a band: a key that equal layers share, the thinned contours, exact over thinned area."""
    points, starts = thin(band.points_mm, band.starts, thinning_mm)
    thinned_mm2 = np.bincount(band.layer, contour_areas(points, starts), len(band.heights_mm))
    # the grid is shifted by an odd amount, so that round sizes of drawn parts never lie on its lines
    grid = np.floor(points / _SAME_MM + 0.31831).astype(np.int64)
    first = band.first_contour
    layers = []
    for k in range(len(band.heights_mm)):
        bounds = starts[first[k] : first[k + 1] + 1]
        key = (np.diff(bounds).tobytes(), grid[bounds[0] : bounds[-1]].tobytes())
        contours = tuple(points[a:b] for a, b in pairwise(bounds) if b > a)
        share = float(band.area_mm2[k] / thinned_mm2[k]) if thinned_mm2[k] > 1e-9 else 1.0
        layers.append((key, contours, share))
    return layers
