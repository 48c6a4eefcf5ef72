"""Grams and minutes of a part or a whole plate, from its layers and a model of the machine's motion.

The figures come from geometry and from the speeds set for the machine. No real printer was measured: runs on record
correct them per printer (calibration). A printer's own program draws its own path, so minutes differ from ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meshcheck.edges import edge_ids
from meshcheck.layers.cut import TooManySegments
from meshcheck.layers.path import LayerPath, layer_key, layer_path, printed_layers
from meshcheck.layers.shapes import PartShapes, part_shapes
from meshcheck.layers.support import AUTO_SUPPORT_MM2 as AUTO_SUPPORT_MM2
from meshcheck.layers.support import wanted_support
from meshcheck.materials import MATERIALS, filament_m
from meshcheck.printed import printed_body
from meshcheck.settings import at_speeds
from meshcheck.timing import Place, Visit, place_of, plate_seconds, time_layers
from meshcheck.types import Estimate, FloatArray, IntArray, Machine, Mesh, PrintedBody, PrintSettings, Support, Unknown
from telling import told

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
    """Grams and minutes of a plate on one kind of machine: see ``estimate_on_each``."""
    found = estimate_on_each(placed, settings, {"": machine}, supports)
    return found if isinstance(found, Unknown) else found[""]


def estimate_on_each(
    placed: Sequence[Placed],
    settings: PrintSettings | Sequence[PrintSettings],
    machines: Mapping[str, Machine],
    supports: Sequence[Support | None],
) -> dict[str, Estimate] | Unknown:
    """Grams and minutes of a plate on every kind of machine: all copies layer by layer, with the travel between them
    and one heat-up. The layers and their paths are worked out once, only the time is each machine's own.

    ``placed`` gives mesh, x_mm, y_mm, turn_deg: the middle of the part's box goes to (x, y), turned about it.
    Copies that are the same Mesh object are worked out once. ``settings`` is one for all or one per copy; the
    copies of a plate share layer heights, raft, material and speeds. ``supports`` has one entry per copy.
    ValueError when the lists do not match, the plate is empty or the settings cannot be printed together.
    """
    each = [settings] * len(placed) if isinstance(settings, PrintSettings) else list(settings)
    _check_plate(placed, each, supports)
    parts: dict[tuple[int, int, PrintSettings], _Part] = {}
    copies: list[_Copy] = []
    for (mesh, x_mm, y_mm, turn_deg), own, support in zip(placed, each, supports, strict=True):
        wanted = wanted_support(support, own)
        if isinstance(wanted, Unknown):
            return wanted
        key = (id(mesh), id(wanted), own)
        if key not in parts:
            part = _part(mesh, own, wanted)
            if isinstance(part, Unknown):
                return part
            parts[key] = part
        copies.append(_Copy(parts[key], place_of(mesh, x_mm, y_mm, turn_deg)))
    body = printed_body(copies[0].part.shapes, float(placed[0][0].vertices[:, 2].min())) if len(copies) == 1 else None
    return {key: _sum_up(copies, each[0], at_speeds(machine, each[0]), body) for key, machine in machines.items()}


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """One distinct part: its layers, each different path once, and (n,) which path every printed layer has."""

    shapes: PartShapes
    paths: tuple[LayerPath, ...]
    first: tuple[bool, ...]
    path_of: IntArray
    support_mm: FloatArray  # (n,) length of support line that is counted but not drawn


@dataclass(frozen=True, slots=True, eq=False)
class _Copy:
    part: _Part
    place: Place


def _check_plate(
    placed: Sequence[Placed], settings: Sequence[PrintSettings], supports: Sequence[Support | None]
) -> None:
    if not placed:
        raise ValueError("a plate needs at least one part")
    if not len(placed) == len(settings) == len(supports):
        raise ValueError(
            f"{len(placed)} parts need as many settings and supports, not {len(settings)}, {len(supports)}"
        )
    together = {
        (s.layer_height_mm, s.first_layer_mm, s.nozzle_mm, s.raft_layers, s.material, at_speeds(Machine(), s))
        for s in settings
    }
    if len(together) > 1:
        raise ValueError("parts of one plate must share layer heights, nozzle, raft, material and speeds")
    if settings[0].material not in MATERIALS:
        raise ValueError(f"unknown material {settings[0].material!r}; known: {', '.join(MATERIALS)}")


def _part(mesh: Mesh, settings: PrintSettings, support: Support | None) -> _Part | Unknown:
    if len(mesh.faces) == 0 or float(np.ptp(mesh.vertices[:, 2])) <= 0:
        return Unknown(told("there is no body to cut into layers"))
    torn = unsound(mesh)
    if torn is not None:
        return Unknown(told("{torn}, so inside and outside cannot be told apart", torn=torn))
    try:
        shapes = part_shapes(mesh, settings, support)
    except TooManySegments as problem:
        return Unknown(told("the mesh is too fine for its height: {problem}", problem=problem.words))
    if shapes.volume_mm3 <= 0:
        return Unknown(told("its layers enclose nothing; the faces may point inward"))
    keys = [layer_key(shapes, k) for k in range(printed_layers(shapes))]
    distinct = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    return _Part(
        shapes=shapes,
        paths=tuple(layer_path(shapes, key) for key in distinct),
        first=tuple(key[-1] for key in distinct),
        path_of=np.array([distinct[key] for key in keys], np.int32),
        support_mm=np.concatenate([np.zeros(settings.raft_layers), shapes.support.undrawn_mm]),
    )


def closed(mesh: Mesh) -> bool:
    """Whether every edge is passed as often one way as the other."""
    return unsound(mesh) is None


def unsound(mesh: Mesh) -> str | None:
    """What keeps a mesh from having an inside; None where every edge is passed as often one way as the other."""
    ids, count = edge_ids(mesh.faces, len(mesh.vertices))
    forward = (mesh.faces < np.roll(mesh.faces, -1, axis=1)).reshape(-1)
    uneven = np.bincount(ids, np.where(forward, 1.0, -1.0), count) != 0
    if not uneven.any():
        return None
    met = np.bincount(ids, minlength=count)[uneven]
    if (met == 1).any():
        return told("the surface is not closed")
    crowded = bool((met > 2).any())
    return told("three or more faces meet at one edge") if crowded else told("some faces are inside out")


def _sum_up(copies: Sequence[_Copy], settings: PrintSettings, machine: Machine, body: PrintedBody | None) -> Estimate:
    grams_per_mm3 = MATERIALS[settings.material].density_g_cm3 / 1000
    shapes = [copy.part.shapes for copy in copies]
    mass_g = sum(part.volume_mm3 for part in shapes) * grams_per_mm3
    support_g = sum(part.support.volume_mm3 for part in shapes) * grams_per_mm3
    raft_brim_g = sum(part.raft_mm3 + part.brim_mm3 for part in shapes) * grams_per_mm3
    layer_s, path_mm = plate_seconds(_visits(copies, machine), machine)
    printing_s = float(np.maximum(layer_s, machine.layer_minimum_s).sum()) + len(layer_s) * machine.layer_change_s
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
        body=body,
    )


def _visits(copies: Sequence[_Copy], machine: Machine) -> list[Visit]:
    """Every copy's layers timed on this machine; equal parts once."""
    timed: dict[int, Visit] = {}
    for copy in copies:
        part = copy.part
        if id(part) not in timed:
            timed[id(part)] = time_layers(part.paths, part.first, part.path_of, part.support_mm, machine)
    return [timed[id(copy.part)].moved(copy.place) for copy in copies]
