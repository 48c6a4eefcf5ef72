"""How long the layers of a part and of a whole plate take on one kind of machine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcheck.layers.path import LayerPath, Stroke
from meshcheck.motion import move_seconds, straight_seconds
from meshcheck.types import FloatArray, IntArray, Machine, Mesh

RETRACT_OVER_MM = 2.0  # shorter travels are made without pulling the filament back (common practice, no source)


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where a copy stands: points p of the part go to ``(p - middle_mm) @ turn + target_mm``."""

    middle_mm: FloatArray
    turn: FloatArray
    target_mm: FloatArray

    def of(self, points_mm: FloatArray) -> FloatArray:
        moved: FloatArray = (points_mm - self.middle_mm) @ self.turn + self.target_mm
        return moved


@dataclass(frozen=True, slots=True, eq=False)
class Visit:
    """The printed layers of one copy (n,): seconds and path length of each, and where the head enters and leaves
    it (n, 2)."""

    seconds: FloatArray
    length_mm: FloatArray
    enter_mm: FloatArray
    leave_mm: FloatArray

    def moved(self, place: Place) -> Visit:
        return replace(self, enter_mm=place.of(self.enter_mm), leave_mm=place.of(self.leave_mm))


def place_of(mesh: Mesh, x_mm: float, y_mm: float, turn_deg: float) -> Place:
    """The middle of the part's box goes to (x, y), turned about it."""
    flat = mesh.vertices[:, :2]
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return Place(middle, np.array([[cos, sin], [-sin, cos]]), np.array([x_mm, y_mm]))


def time_layers(
    paths: Sequence[LayerPath], first: Sequence[bool], path_of: IntArray, support_mm: FloatArray, machine: Machine
) -> Visit:
    """The layers of one part in its own coordinates. ``first``: whether each path lies on the bed; ``path_of`` (n,)
    numbers the path of every layer; ``support_mm`` (n,) is support that takes time and is not in the path."""
    timed = [_time_path(path, on_bed, machine) for path, on_bed in zip(paths, first, strict=True)]
    rows = np.array(timed)[path_of]
    support_s = support_mm / machine.support_mm_s
    return Visit(rows[:, 0] + support_s, rows[:, 1] + support_mm, rows[:, 2:4], rows[:, 4:6])


def _time_path(path: LayerPath, first: bool, machine: Machine) -> tuple[float, float, float, float, float, float]:
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
    seconds += path.thin_mm / float(speeds[Stroke.GAP])
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
        Stroke.GAP: machine.inner_wall_mm_s,
    }
    slowest = machine.first_layer_mm_s
    return np.array([speed[s] if s is Stroke.TRAVEL or not first else min(slowest, speed[s]) for s in Stroke])


def plate_seconds(copies: Sequence[Visit], machine: Machine) -> tuple[FloatArray, float]:
    """Seconds of every layer of the plate, without waiting for the minimum, and all ways of the head in mm."""
    heights = [len(copy.seconds) for copy in copies]
    seconds = np.zeros(max(heights))
    for copy, layers in zip(copies, heights, strict=True):
        seconds[:layers] += copy.seconds
    layer, number = _order(copies, len(seconds))
    enter = np.concatenate([copy.enter_mm for copy in copies])
    leave = np.concatenate([copy.leave_mm for copy in copies])
    place = np.concatenate([[0], np.cumsum(heights)])[number] + layer
    gap = enter[place[1:]] - leave[place[:-1]]
    distance = np.hypot(gap[:, 0], gap[:, 1])
    travel_s = straight_seconds(distance, machine.travel_mm_s, machine.acceleration_mm_s2)
    travel_s += np.where(distance > RETRACT_OVER_MM, machine.retraction_s, 0.0)
    seconds += np.bincount(layer[1:], travel_s, len(seconds))
    return seconds, float(distance.sum()) + sum(float(copy.length_mm.sum()) for copy in copies)


def _order(copies: Sequence[Visit], layers: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
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
    tall = np.array([len(copy.seconds) for copy in copies])
    present = layer < tall[number]
    return layer[present], number[present]
