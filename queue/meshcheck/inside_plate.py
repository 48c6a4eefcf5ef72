"""A look inside a plate: one layer of all its copies, where they stand, with what it takes. An estimate, not the
printer's own path."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshcheck.estimate import closed
from meshcheck.inside import KINDS, LayerView, line_path, overhang_layer, title_of, volume_mm3
from meshcheck.layers.drawing import LayerDrawing, draw_layer
from meshcheck.layers.path import layer_key, layer_path, printed_layers
from meshcheck.layers.shapes import PartShapes, part_shapes
from meshcheck.layers.support import wanted_support
from meshcheck.materials import MATERIALS
from meshcheck.plating import PlacedFile, placed_meshes
from meshcheck.settings import at_speeds
from meshcheck.timing import Place, Visit, place_of, plate_seconds, time_layers
from meshcheck.types import FloatArray, Machine, Mesh, PrintSettings, Support, Unknown
from telling import told

SIDE = 900  # px of the square picture: three times a part's, so that its lines stay apart
EDGE = 24.0


@dataclass(frozen=True, slots=True, eq=False)
class _Copy:
    """One copy: its shapes, where it stands, and its outermost corners there (4, 2)."""

    shapes: PartShapes
    place: Place
    corners_mm: FloatArray


def look_inside_files(
    files: Sequence[PlacedFile], settings: PrintSettings, machine: Machine, layer: int
) -> LayerView | Unknown:
    """As ``look_inside_plate``, of stored files. Raises MeshRejected and OSError."""
    placed, supports = placed_meshes(files, settings)
    return look_inside_plate(placed, supports, settings, machine, layer)


def look_inside_plate(
    placed: Sequence[tuple[Mesh, float, float, float]],
    supports: Sequence[Support | None],
    settings: PrintSettings,
    machine: Machine,
    layer: int,
) -> LayerView | Unknown:
    """Draw and time one layer of a plate; a number beyond it gives its last or first layer. Copies are numbered from 1
    in the order given. ``placed`` as for ``meshcheck.estimate.estimate_on_each``. ValueError for an empty plate."""
    if not placed:
        raise ValueError("a plate needs at least one part")
    open_skins = [number for number, (mesh, *_) in enumerate(placed, 1) if not closed(mesh)]
    if open_skins:
        return Unknown(
            told("the skin of copy {copy} is not closed, so nobody can tell what is inside", copy=open_skins[0])
        )
    copies = _copies(placed, supports, settings)
    heights = [printed_layers(copy.shapes) for copy in copies]
    layer = min(max(layer, 0), max(heights) - 1)
    present = [number for number, height in enumerate(heights) if layer < height]
    drawings = {id(copies[n].shapes): draw_layer(copies[n].shapes, layer) for n in present}
    seconds, path_mm = _timed([copies[n] for n in present], layer, at_speeds(machine, settings))
    first = next(iter(drawings.values()))
    kinds = tuple(kind for kind in KINDS if any(getattr(drawing, kind[0]) for drawing in drawings.values()))
    steep = [
        found
        for (mesh, *_), support, copy, height in zip(placed, supports, copies, heights, strict=True)
        if (found := overhang_layer(mesh, support, copy.shapes, height)) is not None
    ]
    material = sum(volume_mm3(copies[n].shapes, drawings[id(copies[n].shapes)]) for n in present)
    return LayerView(
        svg=_draw(copies, present, drawings, layer, max(heights), [words for _, words in kinds]),
        layer=layer,
        layers=max(heights),
        top_mm=first.bottom_mm + first.thickness_mm,
        thickness_mm=first.thickness_mm,
        seconds=max(seconds, machine.layer_minimum_s) + machine.layer_change_s,
        path_m=path_mm / 1000,
        mass_g=material * MATERIALS[settings.material].density_g_cm3 / 1000,
        kinds=kinds,
        overhang_layer=max(steep, default=None),
    )


def _copies(
    placed: Sequence[tuple[Mesh, float, float, float]], supports: Sequence[Support | None], settings: PrintSettings
) -> list[_Copy]:
    """Every copy; equal ones share their shapes."""
    shapes: dict[tuple[int, int], PartShapes] = {}
    copies = []
    for (mesh, x_mm, y_mm, turn_deg), support in zip(placed, supports, strict=True):
        key = (id(mesh), id(support))
        if key not in shapes:
            wanted = wanted_support(support, settings)
            shapes[key] = part_shapes(mesh, settings, None if isinstance(wanted, Unknown) else wanted)
        place = place_of(mesh, x_mm, y_mm, turn_deg)
        margin = settings.raft_margin_mm if settings.raft_layers else settings.brim_lines * settings.line_width_mm
        (x0, y0), (x1, y1) = mesh.vertices[:, :2].min(axis=0) - margin, mesh.vertices[:, :2].max(axis=0) + margin
        corners = place.of(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
        copies.append(_Copy(shapes[key], place, corners))
    return copies


def _timed(copies: Sequence[_Copy], layer: int, machine: Machine) -> tuple[float, float]:
    """Seconds and millimetres of the head's way over all copies in one layer, from rest to rest."""
    timed: dict[int, Visit] = {}
    for copy in copies:
        if id(copy.shapes) not in timed:
            key = layer_key(copy.shapes, layer)
            more_mm = np.zeros(1)
            timed[id(copy.shapes)] = time_layers(
                [layer_path(copy.shapes, key)], [key[-1]], np.zeros(1, np.int32), more_mm, machine
            )
    visits = [timed[id(copy.shapes)].moved(copy.place) for copy in copies]
    seconds, path_mm = plate_seconds(visits, machine)
    return float(seconds[0]), path_mm


def _draw(
    copies: Sequence[_Copy],
    present: Sequence[int],
    drawings: dict[int, LayerDrawing],
    layer: int,
    layers: int,
    words: Sequence[str],
) -> str:
    """SVG of the layer, in the same place and scale for every layer of the plate. Class names only."""
    corners = np.concatenate([copy.corners_mm for copy in copies])
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = (SIDE - 2 * EDGE) / float((high - low).max())
    middle = (low + high) / 2
    height = int(np.ceil((high - low)[1] * scale + 2 * EDGE))

    def on_picture(points: FloatArray) -> FloatArray:
        flat: FloatArray = (points - middle) * np.array([scale, -scale]) + np.array([SIDE / 2, height / 2])
        return flat

    parts = []
    for number in present:
        copy = copies[number]

        def seen(points: FloatArray, place: Place = copy.place) -> FloatArray:
            return on_picture(place.of(points))

        drawing = drawings[id(copy.shapes)]
        parts.append("".join(line_path(drawing, kind, seen) for kind, _ in KINDS))
    for number, copy in enumerate(copies):
        x, y = on_picture(copy.corners_mm).mean(axis=0)
        parts.append(f'<text class="tag" x="{x:.1f}" y="{y + 9:.1f}">{number + 1}</text>')
    title = title_of(layer, layers, words)
    return f'<svg viewBox="0 0 {SIDE} {height}" role="img"><title>{title}</title>{"".join(parts)}</svg>'
