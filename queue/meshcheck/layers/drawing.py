"""One layer as polylines, for looking inside a part. It shows what is estimated, not the printer's own path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshcheck.layers.gaps import NO_GAPS
from meshcheck.layers.path import Stroke, layer_key, layer_path, printed_layers
from meshcheck.layers.shapes import PartShapes, part_shapes
from meshcheck.layers.support import wanted_support
from meshcheck.types import FloatArray, Mesh, PrintSettings, Support, Unknown

Polylines = tuple[FloatArray, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LayerDrawing:
    """The lines of one printed layer, each (k, 2) float64 in mm in the part's own coordinates, in drawing order.

    ``layer`` counts from 0 with the raft's lowest layer first, ``layers`` is how many there are. ``bottom_mm`` is
    measured from the bed. ``outline`` are the closed contours of the part in this layer (empty in the raft).
    """

    layer: int
    layers: int
    bottom_mm: float
    thickness_mm: float
    line_width_mm: float
    outline: Polylines
    walls: Polylines
    inner_walls: Polylines
    skins: Polylines
    fill: Polylines
    raft: Polylines
    brim: Polylines
    support: Polylines
    gaps: Polylines  # single lines where the part is too narrow for its walls
    gap_widths_mm: tuple[float, ...]  # of each of them


def layer_drawing(
    mesh: Mesh, settings: PrintSettings, layer_index: int, support: Support | None = None
) -> LayerDrawing:
    """Draw one layer of a closed mesh. IndexError when it has no such layer. See ``draw_layer`` for many."""
    wanted = wanted_support(support, settings)
    return draw_layer(part_shapes(mesh, settings, None if isinstance(wanted, Unknown) else wanted), layer_index)


def draw_layer(shapes: PartShapes, layer_index: int) -> LayerDrawing:
    """Draw one layer of shapes already worked out."""
    layers = printed_layers(shapes)
    if not 0 <= layer_index < layers:
        raise IndexError(f"layer {layer_index} of {layers} (the first is 0)")
    settings = shapes.settings
    key = layer_key(shapes, layer_index)
    path = layer_path(shapes, key)
    lines = _split(path.points_mm, path.strokes)
    raft_mm = settings.first_layer_mm + (settings.raft_layers - 1) * settings.layer_height_mm
    part_layer = layer_index - settings.raft_layers
    if part_layer < 0:
        first = layer_index == 0
        thickness = settings.first_layer_mm if first else settings.layer_height_mm
        bottom = 0.0 if first else settings.first_layer_mm + (layer_index - 1) * settings.layer_height_mm
    else:
        thickness = float(shapes.stack.printed_mm[part_layer])
        bottom = float(shapes.stack.bottom_mm[part_layer]) + (raft_mm if settings.raft_layers else 0.0)
    outline = shapes.outlines[key[0]].section.to_polygons() if part_layer >= 0 else []
    gaps = shapes.outlines[key[0]].gaps if part_layer >= 0 else NO_GAPS
    return LayerDrawing(
        layer=layer_index,
        layers=layers,
        bottom_mm=bottom,
        thickness_mm=thickness,
        line_width_mm=settings.line_width_mm,
        outline=tuple(np.asarray(loop, dtype=np.float64) for loop in outline),
        walls=lines[Stroke.OUTER_WALL],
        inner_walls=lines[Stroke.INNER_WALL],
        skins=lines[Stroke.SKIN],
        fill=lines[Stroke.INFILL],
        raft=lines[Stroke.RAFT],
        brim=lines[Stroke.BRIM],
        support=lines[Stroke.SUPPORT],
        gaps=gaps.lines_mm,
        gap_widths_mm=gaps.widths_mm,
    )


def _split(points: FloatArray, strokes: np.ndarray) -> dict[Stroke, Polylines]:
    """The path cut where the head travels or draws something else."""
    ends = np.flatnonzero(np.diff(strokes)) + 1
    lines: dict[Stroke, list[FloatArray]] = {stroke: [] for stroke in Stroke}
    for low, high in zip(np.concatenate([[0], ends]), np.concatenate([ends, [len(strokes)]]), strict=True):
        stroke = Stroke(int(strokes[low]))
        if stroke is not Stroke.TRAVEL:
            lines[stroke].append(points[low - 1 : high])
    return {stroke: tuple(parts) for stroke, parts in lines.items()}
