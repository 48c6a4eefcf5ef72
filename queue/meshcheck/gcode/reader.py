"""Read a file of machine words: minutes by the same motion planner as our own estimates, and net filament.

The file is text from outside: it is read within limits, nothing in it is carried out, and whatever is wrong with it is
said as a GcodeRejected. We write no such files.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from meshcheck.gcode import state as s
from meshcheck.gcode.dialect import Dialect
from meshcheck.gcode.facts import Box, GcodeFacts
from meshcheck.gcode.motion import DRAWS, JUMPS, RESTS, ROOM, run
from meshcheck.gcode.problems import problem, rejected
from meshcheck.gcode.words import line_arrays
from meshcheck.motion import move_seconds
from meshcheck.types import FloatArray, Machine, Material

BYTES_MOST = 100 * 1024 * 1024
LINES_MOST = 2_000_000
MOVES_MOST = 4_000_000
HOMING_S = 20.0  # a small printer finding its ends (common practice, no source)
_BATCH = 1 << 17
_SAME_HEIGHT_MM = 0.001

# after these M words free text follows: messages and names of files (common practice, no source)
_TEXT_CODES = (23, 28, 30, 32, 117, 118, 928)


def read_gcode(data: bytes, dialect: Dialect, machine: Machine, material: Material) -> GcodeFacts:
    """Everything about a file of machine words. Raises GcodeRejected, and nothing else whatever the file holds.

    Words come from RS-274 as described in NISTIR 6556 (2000) and, where the dialect has them, from printers. Moves are
    timed by ``meshcheck.motion`` at the feeds in the file with the acceleration of ``machine``: limits a file sets for
    itself (of acceleration or speed) are passed over.
    """
    if len(data) > BYTES_MOST:
        raise rejected("too_big", size=len(data) // 1024**2, most=BYTES_MOST // 1024**2)
    data = data.removeprefix(b"\xef\xbb\xbf")  # the mark some editors put before text
    state, tools = s.new_state(), np.zeros((2, s.TOOLS_MOST))
    points, speeds, flags = _moves(np.frombuffer(data, np.uint8), dialect, machine, state, tools)
    if state[s.MOVES] == 0:
        raise rejected("no_moves", lines=int(state[s.LINES]))
    moving_s = _seconds(points, speeds, flags, machine)
    heat_up_s = machine.heat_up_s if state[s.HEATS] else 0.0
    return _facts(dialect, state, tools, points, flags, moving_s, heat_up_s, material)


def _moves(
    data: NDArray[np.uint8], dialect: Dialect, machine: Machine, state: FloatArray, tools: FloatArray
) -> tuple[FloatArray, FloatArray, NDArray[np.uint8]]:
    """All moves: ends (n, 3), speeds (n,), flags (n,)."""
    rules = np.array(
        [dialect.printer, dialect.dwell_ms, dialect.rapids_at_feed, dialect.axes_set_extruder], dtype=np.int64
    )
    figures = np.array([machine.travel_mm_s, machine.acceleration_mm_s2, HOMING_S, machine.retraction_s])
    text_codes = np.array([10 * code for code in _TEXT_CODES] if dialect.printer else [-1], np.int64)
    line = line_arrays()
    points, speeds, flags = np.empty((_BATCH + ROOM, 3)), np.empty(_BATCH + ROOM), np.empty(_BATCH + ROOM, np.uint8)
    pieces: list[tuple[FloatArray, FloatArray, NDArray[np.uint8]]] = []
    start = made = 0
    while start < len(data):
        start, filled, found = run(data, start, state, tools, rules, figures, text_codes, line, points, speeds, flags)
        pieces.append((points[:filled].copy(), speeds[:filled].copy(), flags[:filled].copy()))
        made += filled
        if found > s.ENDED:
            raise problem(found, int(state[s.LINES]), float(state[s.DETAIL]))
        if state[s.LINES] > LINES_MOST or made > MOVES_MOST:
            raise rejected("too_long", lines=LINES_MOST, moves=MOVES_MOST)
        if found == s.ENDED:
            break
    if not pieces:
        return np.zeros((0, 3)), np.zeros(0), np.zeros(0, np.uint8)
    return tuple(np.concatenate(columns) for columns in zip(*pieces, strict=True))  # type: ignore[return-value]


def _seconds(points: FloatArray, speeds: FloatArray, flags: NDArray[np.uint8], machine: Machine) -> float:
    """Seconds of all moves from rest to rest, standing still where the file makes the head wait."""
    way = np.concatenate([np.zeros((1, 3)), points])
    rest: NDArray[np.bool_] = np.zeros(len(way), np.bool_)
    rest[:-1] = flags & RESTS != 0
    jumps = flags & JUMPS != 0
    rest[1:] |= jumps
    seconds = move_seconds(way, speeds, machine.acceleration_mm_s2, machine.junction_deviation_mm, rest)
    return float(seconds[~jumps].sum())


def _facts(
    dialect: Dialect,
    state: FloatArray,
    tools: FloatArray,
    points: FloatArray,
    flags: NDArray[np.uint8],
    moving_s: float,
    heat_up_s: float,
    material: Material,
) -> GcodeFacts:
    printing_s = moving_s + float(state[s.WAIT_S])
    drawn = points[flags & DRAWS != 0]
    heights = np.unique(np.rint(drawn[:, 2] / _SAME_HEIGHT_MM)) * _SAME_HEIGHT_MM
    upper = drawn[drawn[:, 2] > heights[0] + _SAME_HEIGHT_MM] if len(heights) else drawn
    net_mm = float(tools[1].sum())
    section_mm2 = math.pi * material.filament_diameter_mm**2 / 4
    return GcodeFacts(
        dialect=dialect.key,
        lines=int(state[s.LINES]),
        moves=int(state[s.MOVES]),
        duration_s=heat_up_s + printing_s,
        printing_s=printing_s,
        feed_s=float(state[s.FEED_S]),
        waiting_s=float(state[s.WAIT_S]),
        heat_up_s=heat_up_s,
        path_m=float(state[s.PATH_MM]) / 1000,
        net_mm=net_mm,
        gross_mm=float(state[s.GROSS_MM]),
        mass_g=net_mm * section_mm2 * material.density_g_cm3 / 1000,
        height_mm=float(heights[-1]) if len(heights) else 0.0,
        layers=len(heights),
        moved=_box(points[flags & JUMPS == 0]),
        printed=_box(drawn),
        upper=_box(upper),
        nozzle_c=_known(state[s.NOZZLE_C]),
        bed_c=_known(state[s.BED_C]),
        tools=tuple(int(tool) for tool in np.flatnonzero(tools[1] > 0)),
        pauses=int(state[s.PAUSES]),
        untimed=int(state[s.UNTIMED]),
        skipped_lines=int(state[s.SKIPPED]),
    )


def _box(points: FloatArray) -> Box | None:
    if len(points) == 0:
        return None
    (a, b, c), (x, y, z) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return Box((a, b, c), (x, y, z))


def _known(value: float) -> float | None:
    return None if math.isnan(value) else float(value)
