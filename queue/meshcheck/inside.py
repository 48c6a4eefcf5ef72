"""A look inside a part: one of its layers drawn, with what it takes. An estimate, not the printer's own path."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from meshcheck.layers.drawing import LayerDrawing, Polylines, draw_layer
from meshcheck.layers.path import layer_key, layer_path, printed_layers
from meshcheck.layers.shapes import PartShapes, material_mm2, part_shapes
from meshcheck.layers.support import wanted_support
from meshcheck.materials import MATERIALS
from meshcheck.settings import at_speeds
from meshcheck.timing import time_layers
from meshcheck.types import FloatArray, Machine, Mesh, PrintSettings, Support, Unknown

SIDE = 300  # px of the square picture
EDGE = 10.0
MOVED_LEAST_PX = 0.05

# class and words of every kind of line, in the order they are painted; the last ones lie on top
KINDS: tuple[tuple[str, str], ...] = (
    ("raft", "raft"),
    ("support", "support"),
    ("brim", "brim"),
    ("fill", "filling"),
    ("skins", "skin"),
    ("gaps", "single line"),
    ("inner_walls", "inner wall"),
    ("walls", "outer wall"),
)


@dataclass(frozen=True, slots=True)
class LayerView:
    """One layer for a page. ``layer`` counts from 0; ``kinds`` are class and words of the lines that are in it."""

    svg: str
    layer: int
    layers: int
    top_mm: float
    thickness_mm: float
    seconds: float
    path_m: float
    mass_g: float
    kinds: tuple[tuple[str, str], ...]
    overhang_layer: int | None  # the layer that holds the highest steep underside


def look_inside(
    mesh: Mesh, settings: PrintSettings, machine: Machine, support: Support | None, layer: int
) -> LayerView:
    """Draw and time one layer of a closed mesh; a number beyond the part gives its last or first layer."""
    wanted = wanted_support(support, settings)
    shapes = part_shapes(mesh, settings, None if isinstance(wanted, Unknown) else wanted)
    layers = printed_layers(shapes)
    layer = min(max(layer, 0), layers - 1)
    drawing = draw_layer(shapes, layer)
    machine = at_speeds(machine, settings)
    seconds, path_mm = _timed(shapes, layer, machine)
    return LayerView(
        svg=draw(drawing, mesh, settings),
        layer=layer,
        layers=layers,
        top_mm=drawing.bottom_mm + drawing.thickness_mm,
        thickness_mm=drawing.thickness_mm,
        seconds=max(seconds, machine.layer_minimum_s) + machine.layer_change_s,
        path_m=path_mm / 1000,
        mass_g=volume_mm3(shapes, drawing) * MATERIALS[settings.material].density_g_cm3 / 1000,
        kinds=tuple(kind for kind in KINDS if getattr(drawing, kind[0])),
        overhang_layer=overhang_layer(mesh, support, shapes, layers),
    )


def _timed(shapes: PartShapes, layer: int, machine: Machine) -> tuple[float, float]:
    """Seconds and millimetres of the head's way in one layer, from rest to rest."""
    key = layer_key(shapes, layer)
    visit = time_layers([layer_path(shapes, key)], [key[-1]], np.zeros(1, np.int32), np.zeros(1), machine)
    return float(visit.seconds[0]), float(visit.length_mm[0])


def volume_mm3(shapes: PartShapes, drawing: LayerDrawing) -> float:
    """Plastic in one layer: the part and the raft by their areas, support and brim by their lines."""
    settings = shapes.settings
    part_layer = drawing.layer - settings.raft_layers
    if part_layer < 0:
        area_mm2 = float(shapes.raft.area())
    else:
        outline = shapes.outlines[int(shapes.outline_of[part_layer])]
        area_mm2 = material_mm2(outline, shapes.fills[int(shapes.fill_of[part_layer])], settings)
    lines_mm = _length(drawing.support) + _length(drawing.brim)
    return (area_mm2 + lines_mm * settings.line_width_mm) * drawing.thickness_mm


def overhang_layer(mesh: Mesh, support: Support | None, shapes: PartShapes, layers: int) -> int | None:
    """The layer that holds the highest steep underside; None when there is none."""
    if support is None or len(support.overhang_faces) == 0:
        return None
    lowest = mesh.vertices[:, 2].min()
    highest = float(mesh.vertices[mesh.faces[support.overhang_faces]][:, :, 2].max() - lowest)
    above = int(np.searchsorted(shapes.stack.bottom_mm, highest, side="right")) - 1
    return min(layers - 1, max(above, 0) + shapes.settings.raft_layers)


def _length(lines: Polylines) -> float:
    return float(sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in lines))


def draw(drawing: LayerDrawing, mesh: Mesh, settings: PrintSettings) -> str:
    """SVG of a layer, in the same place and scale for every layer of the part. Class names only."""
    margin = settings.raft_margin_mm if settings.raft_layers else settings.brim_lines * settings.line_width_mm
    low, high = mesh.vertices[:, :2].min(axis=0) - margin, mesh.vertices[:, :2].max(axis=0) + margin
    scale = (SIDE - 2 * EDGE) / float((high - low).max())
    middle = (low + high) / 2

    def seen(points: FloatArray) -> FloatArray:
        flat: FloatArray = (points - middle) * np.array([scale, -scale]) + SIDE / 2
        return flat

    paths = "".join(line_path(drawing, kind, seen) for kind, _ in KINDS)
    title = title_of(drawing.layer, drawing.layers, [words for kind, words in KINDS if getattr(drawing, kind)])
    return f'<svg viewBox="0 0 {SIDE} {SIDE}" role="img"><title>{title}</title>{paths}</svg>'


def title_of(layer: int, layers: int, words: Sequence[str]) -> str:
    """What the picture shows, for those who do not see it."""
    return f"Layer {layer + 1} of {layers} seen from above: {', '.join(words) or 'nothing'}."


def line_path(drawing: LayerDrawing, kind: str, seen: Callable[[FloatArray], FloatArray]) -> str:
    """The SVG path of one kind of line, empty when there is none; ``seen`` puts points (k, 2) on the picture."""
    lines: Polylines = getattr(drawing, kind)
    if not lines:
        return ""
    return f'<path class="line-{kind.replace("_", "-")}" d="{"".join(_path(seen(line)) for line in lines)}"/>'


def _path(points: FloatArray) -> str:
    """A polyline without the points that would not be seen to move."""
    step = np.abs(np.diff(points, axis=0)).max(axis=1)
    kept = points[np.concatenate([[True], step > MOVED_LEAST_PX])]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in kept)
