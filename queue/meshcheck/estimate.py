"""Grams and minutes of a part or a whole plate, from its layers and a model of the machine's motion.

The figures come from geometry and from the speeds set for the machine. No real printer was measured: runs on record
correct them per printer (calibration). A printer's own program draws its own path, so minutes differ from ours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcheck.edges import edge_ids
from meshcheck.layers.cut import TooManySegments
from meshcheck.layers.path import LayerPath, Stroke, layer_key, layer_path, printed_layers
from meshcheck.layers.shapes import PartShapes, part_shapes
from meshcheck.materials import MATERIALS, filament_m
from meshcheck.motion import move_seconds, straight_seconds
from meshcheck.types import Estimate, FloatArray, Machine, Mesh, PrintSettings, Support, Unknown

AUTO_SUPPORT_MM2 = 5.0  # smaller undersides hang on their neighbours (common practice, no source)
RETRACT_OVER_MM = 2.0  # shorter travels are made without pulling the filament back (common practice, no source)

Placed = tuple[Mesh, float, float, float]


def estimate(mesh: Mesh, settings: PrintSettings, machine: Machine, support: Support | None) -> Estimate | Unknown:
    """Grams and minutes of ``mesh`` printed once, alone on its plate, in the position in which it lies.

    ``mesh`` must be closed, with outward faces; otherwise the answer is Unknown. ``support`` counts when the settings
    ask for it: always when "on", above AUTO_SUPPORT_MM2 of steep underside when "auto"; None counts as no support.
    ``mass_g`` is the part itself, support, raft and brim stand beside it, ``filament_m`` is all of them.
    ValueError for a material that is not in the table.
    """
    return estimate_plate([(mesh, 0.0, 0.0, 0.0)], settings, machine, [support])


def estimate_plate(
    placed: Sequence[Placed],
    settings: PrintSettings | Sequence[PrintSettings],
    machine: Machine,
    supports: Sequence[Support | None],
) -> Estimate | Unknown:
    """Grams and minutes of a plate: all copies layer by layer, with the travel between them and one heat-up.

    ``placed`` gives mesh, x_mm, y_mm, turn_deg: the middle of the part's box goes to (x, y), turned about it.
    Copies that are the same Mesh object are worked out once. ``settings`` is one for all or one per copy; the
    copies of a plate share layer heights, raft and material. ``supports`` has one entry per copy.
    ValueError when the lists do not match, the plate is empty or the settings cannot be printed together.
    """
    each = [settings] * len(placed) if isinstance(settings, PrintSettings) else list(settings)
    _check_plate(placed, each, supports)
    parts: dict[tuple[int, PrintSettings], _Part] = {}
    copies: list[_Copy] = []
    for (mesh, x_mm, y_mm, turn_deg), own, support in zip(placed, each, supports, strict=True):
        support_mm3 = _support_mm3(support, own)
        if isinstance(support_mm3, Unknown):
            return support_mm3
        key = (id(mesh), own)
        if key not in parts:
            part = _part(mesh, own, machine)
            if isinstance(part, Unknown):
                return part
            parts[key] = part
        copies.append(_place(parts[key], mesh, x_mm, y_mm, turn_deg, support_mm3, support))
    return _sum_up(copies, each[0], machine)


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """One distinct part: per printed layer (n,) its seconds and path length, and where the head enters and leaves."""

    shapes: PartShapes
    seconds: FloatArray
    length_mm: FloatArray
    enter_mm: FloatArray
    leave_mm: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Copy:
    """A part in its place on the plate; ``support_mm`` is the length of line its support takes."""

    part: _Part
    enter_mm: FloatArray
    leave_mm: FloatArray
    support_mm3: float
    support_mm: float
    support_turns: float


def _check_plate(
    placed: Sequence[Placed], settings: Sequence[PrintSettings], supports: Sequence[Support | None]
) -> None:
    if not placed:
        raise ValueError("a plate needs at least one part")
    if not len(placed) == len(settings) == len(supports):
        raise ValueError(
            f"{len(placed)} parts need as many settings and supports, not {len(settings)}, {len(supports)}"
        )
    together = {(s.layer_height_mm, s.first_layer_mm, s.nozzle_mm, s.raft_layers, s.material) for s in settings}
    if len(together) > 1:
        raise ValueError("parts of one plate must share layer heights, nozzle, raft and material")
    if settings[0].material not in MATERIALS:
        raise ValueError(f"unknown material {settings[0].material!r}; known: {', '.join(MATERIALS)}")


def _support_mm3(support: Support | None, settings: PrintSettings) -> float | Unknown:
    """Volume of plastic in the support, or Unknown when it is wanted but could not be measured."""
    if support is None or settings.support == "off":
        return 0.0
    if settings.support == "auto" and support.overhang_area_mm2 <= AUTO_SUPPORT_MM2:
        return 0.0
    if isinstance(support.volume_mm3, Unknown):
        return Unknown(f"its support could not be measured: {support.volume_mm3.because}")
    return support.volume_mm3 * settings.support_share


def _part(mesh: Mesh, settings: PrintSettings, machine: Machine) -> _Part | Unknown:
    if len(mesh.faces) == 0 or float(np.ptp(mesh.vertices[:, 2])) <= 0:
        return Unknown("there is no body to cut into layers")
    if not _closed(mesh):
        return Unknown("the surface is not closed, so inside and outside cannot be told apart")
    try:
        shapes = part_shapes(mesh, settings)
    except TooManySegments as problem:
        return Unknown(f"the mesh is too fine for its height: {problem}")
    if shapes.volume_mm3 <= 0:
        return Unknown("its layers enclose nothing; the faces may point inward")
    return _time_part(shapes, machine)


def _closed(mesh: Mesh) -> bool:
    """Whether every edge is passed as often one way as the other."""
    ids, count = edge_ids(mesh.faces, len(mesh.vertices))
    forward = (mesh.faces < np.roll(mesh.faces, -1, axis=1)).reshape(-1)
    return bool((np.bincount(ids, np.where(forward, 1.0, -1.0), count) == 0).all())


def _time_part(shapes: PartShapes, machine: Machine) -> _Part:
    """Time every distinct layer path once."""
    keys = [layer_key(shapes, k) for k in range(printed_layers(shapes))]
    distinct = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    timed = [_time_layer(layer_path(shapes, key), key[3], machine) for key in distinct]
    rows = np.array(timed)[[distinct[key] for key in keys]]
    return _Part(shapes, rows[:, 0], rows[:, 1], rows[:, 2:4], rows[:, 4:6])


def _time_layer(path: LayerPath, first: bool, machine: Machine) -> tuple[float, float, float, float, float, float]:
    """Seconds, length in mm, and where it begins and ends, of one layer's path from rest to rest."""
    step = np.diff(path.points_mm, axis=0)
    distance = np.hypot(step[:, 0], step[:, 1])
    strokes = path.strokes[1:]
    retracted = (strokes == Stroke.TRAVEL) & (distance > RETRACT_OVER_MM)
    rest: NDArray[np.bool_] = np.zeros(len(path.points_mm), np.bool_)
    rest[1:] |= retracted
    rest[:-1] |= retracted
    speeds = _speeds(machine, first)
    moves = move_seconds(
        path.points_mm, speeds[strokes], machine.acceleration_mm_s2, machine.junction_deviation_mm, rest
    )
    seconds = float(moves.sum()) + int(retracted.sum()) * machine.retraction_s
    seconds += path.thin_mm / float(speeds[Stroke.INNER_WALL])
    (x0, y0), (x1, y1) = path.points_mm[0], path.points_mm[-1]
    return (seconds, float(distance.sum()) + path.thin_mm, float(x0), float(y0), float(x1), float(y1))


def _speeds(machine: Machine, first: bool) -> FloatArray:
    """Speed in mm/s of every Stroke, by its number."""
    speed = {
        Stroke.TRAVEL: machine.travel_mm_s,
        Stroke.OUTER_WALL: machine.wall_mm_s,
        Stroke.INNER_WALL: machine.inner_wall_mm_s,
        Stroke.SKIN: machine.skin_mm_s,
        Stroke.INFILL: machine.infill_mm_s,
        Stroke.SUPPORT: machine.support_mm_s,
        Stroke.RAFT: machine.infill_mm_s,
        Stroke.BRIM: machine.first_layer_mm_s,
    }
    slowest = machine.first_layer_mm_s
    return np.array([speed[s] if s is Stroke.TRAVEL or not first else min(slowest, speed[s]) for s in Stroke])


def _place(
    part: _Part, mesh: Mesh, x_mm: float, y_mm: float, turn_deg: float, support_mm3: float, support: Support | None
) -> _Copy:
    flat = mesh.vertices[:, :2]
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    turn = np.array([[cos, sin], [-sin, cos]])
    target = np.array([x_mm, y_mm])
    settings = part.shapes.settings
    support_mm = support_mm3 / (settings.line_width_mm * settings.layer_height_mm)
    # lines of support are about as long as its footprint is wide
    line_mm = math.sqrt(support.overhang_area_mm2) if support is not None and support_mm > 0 else 1.0
    return _Copy(
        part=part,
        enter_mm=(part.enter_mm - middle) @ turn + target,
        leave_mm=(part.leave_mm - middle) @ turn + target,
        support_mm3=support_mm3,
        support_mm=support_mm,
        support_turns=support_mm / max(line_mm, settings.line_width_mm),
    )


def _sum_up(copies: Sequence[_Copy], settings: PrintSettings, machine: Machine) -> Estimate:
    grams_per_mm3 = MATERIALS[settings.material].density_g_cm3 / 1000
    mass_g = sum(copy.part.shapes.volume_mm3 for copy in copies) * grams_per_mm3
    support_g = sum(copy.support_mm3 for copy in copies) * grams_per_mm3
    raft_brim_g = sum(copy.part.shapes.raft_mm3 + copy.part.shapes.brim_mm3 for copy in copies) * grams_per_mm3
    layer_s, travel_mm = _layer_seconds(copies, machine)
    printing_s = float(np.maximum(layer_s, machine.layer_minimum_s).sum()) + len(layer_s) * machine.layer_change_s
    path_mm = travel_mm + sum(float(copy.part.length_mm.sum()) + copy.support_mm for copy in copies)
    return Estimate(
        mass_g=mass_g,
        support_g=support_g,
        raft_brim_g=raft_brim_g,
        filament_m=filament_m(mass_g + support_g + raft_brim_g, MATERIALS[settings.material]),
        duration_s=machine.heat_up_s + printing_s,
        heat_up_s=machine.heat_up_s,
        cool_down_s=machine.cool_down_s,
        layers=len(layer_s),
        path_m=path_mm / 1000,
        settings=settings,
    )


def _layer_seconds(copies: Sequence[_Copy], machine: Machine) -> tuple[FloatArray, float]:
    """Seconds of every layer of the plate, without waiting for the minimum, and the travel between copies in mm."""
    heights = [len(copy.part.seconds) for copy in copies]
    seconds = np.zeros(max(heights))
    for copy, layers in zip(copies, heights, strict=True):
        support_s = copy.support_mm / machine.support_mm_s
        support_s += copy.support_turns * machine.support_mm_s / machine.acceleration_mm_s2
        seconds[:layers] += copy.part.seconds + support_s / layers
    layer, number = _visits(copies, len(seconds))
    enter = np.concatenate([copy.enter_mm for copy in copies])
    leave = np.concatenate([copy.leave_mm for copy in copies])
    place = np.concatenate([[0], np.cumsum(heights)])[number] + layer
    gap = enter[place[1:]] - leave[place[:-1]]
    distance = np.hypot(gap[:, 0], gap[:, 1])
    travel_s = straight_seconds(distance, machine.travel_mm_s, machine.acceleration_mm_s2)
    travel_s += np.where(distance > RETRACT_OVER_MM, machine.retraction_s, 0.0)
    seconds += np.bincount(layer[1:], travel_s, len(seconds))
    return seconds, float(distance.sum())


def _visits(copies: Sequence[_Copy], layers: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Layer and copy of every visit, in order: a nearest-first round of the copies, walked back on the next layer."""
    centres = np.array([copy.enter_mm.mean(axis=0) for copy in copies])
    left = list(range(1, len(copies)))
    tour = [0]
    while left:
        here = centres[tour[-1]]
        tour.append(min(left, key=lambda k: float(np.hypot(*(centres[k] - here)))))
        left.remove(tour[-1])
    order = np.tile(np.array(tour, np.int64), (layers, 1))
    order[1::2] = order[1::2, ::-1]
    layer = np.repeat(np.arange(layers, dtype=np.int64), len(copies))
    number = order.reshape(-1)
    tall = np.array([len(copy.part.seconds) for copy in copies])
    present = layer < tall[number]
    return layer[present], number[present]
