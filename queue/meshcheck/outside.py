"""The outside of a part as it stands, height by height: what it pushes out of water, and what a string wound round it
measures.

At each height the outer outlines are filled, whatever is hollow within them: water comes into a hull over its edge
only, and a string lies on the outside. So the figures are those of the space a part takes up, not of its plastic.
"""

from __future__ import annotations

import numpy as np
from manifold3d import CrossSection, FillRule

from meshcheck.layers.cut import LayerSet, TooManySegments, cut
from meshcheck.types import FloatArray, Mesh, Outside, Unknown
from telling import told

SECTIONS = 161
END_SHARE = 1e-5  # the first and the last section lie this share of the height inside the ends
BELOW_MM = 1.0  # what is open there is no engraving of the floor
DECIMALS = 3


def outside_of(mesh: Mesh) -> Outside | Unknown:
    """``SECTIONS`` evenly spread heights above the lowest point and what the outside is there. Unknown for a mesh that
    is not closed, flat, or too fine to cut."""
    if not len(mesh.faces):
        return Unknown(told("the file holds no triangles"))
    low, high = float(mesh.vertices[:, 2].min()), float(mesh.vertices[:, 2].max())
    tall = high - low
    if tall <= 2 * BELOW_MM:
        return Unknown(told("the part is too flat to stand in water or to wind a string on"))
    heights = np.linspace(low + END_SHARE * tall, high - END_SHARE * tall, SECTIONS)
    try:
        layers = cut(mesh, heights)
        below = cut(mesh, [heights[0], low + BELOW_MM])
    except TooManySegments as error:
        return Unknown(error.words)
    if not (layers.closed.all() and below.closed.all()):
        return Unknown(told("the skin of the part is not closed"))
    outlines = [_outline(layers, number) for number in range(SECTIONS)]
    return Outside(
        heights_mm=tuple(round(float(height - low), DECIMALS) for height in np.linspace(low, high, SECTIONS)),
        areas_mm2=tuple(round(outline.area(), DECIMALS) for outline in outlines),
        rounds_mm=tuple(round(_length(outline.hull()), DECIMALS) for outline in outlines),
        open_below_mm2=round(min(_hollow(below, 0), _hollow(below, 1)), DECIMALS),
    )


def _outline(layers: LayerSet, number: int) -> CrossSection:
    """Everything inside the outer contours, which run counter-clockwise; those within another are swallowed by it."""
    outer = [points for points in layers.contours(number) if _signed(points) > 0]
    return CrossSection(outer, FillRule.NonZero) if outer else CrossSection()


def _hollow(layers: LayerSet, number: int) -> float:
    """Area that the outer contours enclose and that is not plastic, mm2."""
    return float(max(0.0, _outline(layers, number).area() - layers.area_mm2[number]))


def _signed(points: FloatArray) -> float:
    x, y = points[:, 0], points[:, 1]
    return float(np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y)) / 2


def _length(outline: CrossSection) -> float:
    """Of all edges of an outline, mm."""
    total = 0.0
    for points in outline.to_polygons():
        total += float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())
    return total
