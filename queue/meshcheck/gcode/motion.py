"""Run a file's lines in compiled code: the moves they make, and everything counted along the way."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.gcode import state as s
from meshcheck.gcode.arcs import CHORDS_MOST, arc, centre_of_radius
from meshcheck.gcode.words import ABSENT, BARE, GIVEN, READ, SKIPPED, read_line

FARTHEST_MM = 10_000.0
ROOM = CHORDS_MOST + 2  # moves one line may make

DRAWS, JUMPS, RESTS = 1, 2, 4  # flags of a move; RESTS: the head stands still before it

_RAPID, _LINE, _CLOCKWISE = 0, 1, 2
_X, _Y, _Z, _E, _I, _R = 23, 24, 25, 4, 8, 17  # letters, A is 0


@njit(cache=True, nogil=True)
def _target(state, values, present, target):  # type: ignore[no-untyped-def]
    """Where a line moves to, in machine coordinates; whether all is within reach."""
    near = True
    for axis in range(3):
        target[axis] = state[axis]
        if present[_X + axis] == GIVEN:
            value = values[_X + axis] * state[s.SCALE]
            target[axis] = value + (state[s.OFFSET + axis] if state[s.ABSOLUTE] else state[axis])
        near = near and abs(target[axis]) <= FARTHEST_MM
    return near


@njit(cache=True, nogil=True)
def _extrude(state, tools, values, present):  # type: ignore[no-untyped-def]
    """Filament a line pushes forward (below zero: pulls back), mm; counted in ``tools`` (2, n): place, highest."""
    if present[_E] != GIVEN:
        return 0.0
    value = values[_E] * state[s.SCALE]
    pushed = value - state[s.E] if state[s.E_ABSOLUTE] else value
    state[s.E] += pushed
    pushed *= state[s.FLOW_SHARE]
    tool = int(state[s.TOOL])
    tools[0, tool] += pushed
    tools[1, tool] = max(tools[1, tool], tools[0, tool])
    state[s.GROSS_MM] += max(0.0, pushed)
    return pushed


@njit(cache=True, nogil=True)
def _speed(state, motion, rules, machine):  # type: ignore[no-untyped-def]
    """Speed of a move in mm/s; 0 where no feed was ever given."""
    if motion == _RAPID and not (rules[s.RAPIDS_AT_FEED] and state[s.FEED_MM_S] > 0):
        return machine[s.TRAVEL_MM_S]
    return state[s.FEED_MM_S] * state[s.SPEED_SHARE]


@njit(cache=True, nogil=True)
def _emit(state, x, y, z, speed, flag, points, speeds, flags, filled):  # type: ignore[no-untyped-def]
    points[filled, 0], points[filled, 1], points[filled, 2] = x, y, z
    speeds[filled] = speed
    flags[filled] = flag | (RESTS if state[s.REST] else 0)
    state[s.REST] = 0.0
    return filled + 1


@njit(cache=True, nogil=True)
def _arc_centre(state, target, values, present, a, b, clockwise):  # type: ignore[no-untyped-def]
    """Centre of an arc in the axes a and b, and whether the words give one."""
    if present[_R] == GIVEN:
        dx, dy = target[a] - state[a], target[b] - state[b]
        u, v, there = centre_of_radius(dx, dy, values[_R] * state[s.SCALE], clockwise)
        return state[a] + u, state[b] + v, there
    if present[_I + a] != GIVEN and present[_I + b] != GIVEN:
        return 0.0, 0.0, False
    centre = np.empty(2)
    for k in range(2):
        axis = a if k == 0 else b
        value = values[_I + axis] * state[s.SCALE] if present[_I + axis] == GIVEN else 0.0
        if state[s.CENTRE_ABSOLUTE]:
            if present[_I + axis] != GIVEN:
                return 0.0, 0.0, False
            centre[k] = value + state[s.OFFSET + axis]
        else:
            centre[k] = value + state[axis]
    return centre[0], centre[1], True


@njit(cache=True, nogil=True)
def _arc(state, target, values, present, motion, speed, flag, chords, points, speeds, flags, filled):  # type: ignore[no-untyped-def]
    """The chords of an arc: how many moves there are then, and the arc's length (0: it is none)."""
    a = 0 if state[s.PLANE] == 17 else 2 if state[s.PLANE] == 18 else 1
    b, c = (a + 1) % 3, (a + 2) % 3
    u, v, there = _arc_centre(state, target, values, present, a, b, motion == _CLOCKWISE)
    if not there:
        return filled, 0.0
    count, length, longer = arc(
        state[a], state[b], state[c], target[a], target[b], target[c], u, v, motion == _CLOCKWISE, chords
    )
    place = np.empty(3)
    for k in range(count):
        place[a], place[b], place[c] = chords[k, 0], chords[k, 1], chords[k, 2]
        filled = _emit(state, place[0], place[1], place[2], speed / longer, flag, points, speeds, flags, filled)
    return filled, length if count else 0.0


@njit(cache=True, nogil=True)
def _extruder_alone(state, pushed, speed, acceleration):  # type: ignore[no-untyped-def]
    """The head stands while filament is pulled back or pushed forward: a trapezoid of its own."""
    way = abs(pushed)
    state[s.FEED_S] += way / speed
    ramps = speed / acceleration
    state[s.WAIT_S] += way / speed + ramps if way >= speed * ramps else 2 * np.sqrt(way / acceleration)
    state[s.REST] = 1.0


@njit(cache=True, nogil=True)
def _move(state, tools, values, present, rules, machine, target, chords, points, speeds, flags, filled):  # type: ignore[no-untyped-def]
    """One line of motion: how many moves there are then, and what is wrong."""
    motion = int(state[s.MOTION])
    if motion == s.NO_MOTION:
        return filled, s.NO_MODE
    if not _target(state, values, present, target):
        return filled, s.FAR
    if present[_E] == GIVEN and not rules[s.PRINTER]:
        return filled, s.EXTRUDER
    speed = _speed(state, motion, rules, machine)
    if speed <= 0:
        return filled, s.FEED
    pushed = _extrude(state, tools, values, present)
    if abs(pushed) > FARTHEST_MM:
        return filled, s.FAR
    flag = DRAWS if pushed > 0 else 0
    if motion > _LINE:
        filled, length = _arc(
            state, target, values, present, motion, speed, flag, chords, points, speeds, flags, filled
        )
        if length == 0:
            return filled, s.ARC
    else:
        length = np.sqrt((target[0] - state[0]) ** 2 + (target[1] - state[1]) ** 2 + (target[2] - state[2]) ** 2)
        if length > 0:
            filled = _emit(state, target[0], target[1], target[2], speed, flag, points, speeds, flags, filled)
    if length > 0:
        state[s.FEED_S] += length / speed
        state[s.PATH_MM] += length
    elif pushed != 0:
        _extruder_alone(state, pushed, speed, machine[s.ACCELERATION_MM_S2])
    state[s.MOVES] += 1
    state[0], state[1], state[2] = target[0], target[1], target[2]
    return filled, 0


@njit(cache=True, nogil=True)
def _home(state, present, machine, points, speeds, flags, filled):  # type: ignore[no-untyped-def]
    """G28: the named axes, or all, stand at zero afterwards; how they got there nobody saw."""
    every = present[_X] == ABSENT and present[_Y] == ABSENT and present[_Z] == ABSENT
    for axis in range(3):
        if every or present[_X + axis] != ABSENT:
            state[axis] = 0.0
            state[s.OFFSET + axis] = 0.0
    state[s.WAIT_S] += machine[s.HOMING_S]
    state[s.REST] = 1.0
    filled = _emit(state, state[0], state[1], state[2], 1.0, JUMPS, points, speeds, flags, filled)
    state[s.REST] = 1.0
    return filled


@njit(cache=True, nogil=True)
def _axes(present):  # type: ignore[no-untyped-def]
    """Whether a line names an axis, whether one has no number, and whether it names one nobody here has."""
    named = present[_E] != ABSENT
    bare = present[_E] == BARE
    for letter in (_X, _Y, _Z):
        named = named or present[letter] != ABSENT
        bare = bare or present[letter] == BARE
    other = False
    for letter in (0, 1, 2, 20, 21, 22):  # A B C U V W
        other = other or present[letter] != ABSENT
    return named, bare, other


@njit(cache=True, nogil=True)
def _obey(state, tools, line, rules, machine, target, chords, points, speeds, flags, filled):  # type: ignore[no-untyped-def]
    """One line taken apart: how many moves there are then, and 0, ENDED or what is wrong."""
    values, present, codes, count = line
    asked, wrong = s.g_words(state, codes[0], count[0], rules, machine)
    if wrong:
        return filled, wrong
    heats = count[1] > 0 and codes[1, 0] in (1040, 1090)
    wrong = s.tool_and_feed(state, values, present, heats)
    if wrong:
        return filled, wrong
    ended = s.m_words(state, codes[1], count[1], values, present, rules)
    if ended > s.ENDED:
        return filled, ended
    if asked == s.DWELLS:
        return filled, s.dwell(state, values, present, rules)
    if asked == s.HOMES:
        return _home(state, present, machine, points, speeds, flags, filled), 0
    if asked == s.SETS or asked == s.RESETS:
        return filled, s.set_position(state, values, present, rules, asked == s.RESETS)
    named, bare, other = _axes(present)
    # the axis words of a line of printer M words are settings, not a way to go
    if asked == s.OWN or (rules[s.PRINTER] and count[1] > 0 and count[0] == 0):
        return filled, ended
    bends = present[_I] == GIVEN or present[_I + 1] == GIVEN or present[_I + 2] == GIVEN or present[_R] == GIVEN
    if other:
        return filled, s.AXIS
    if bare:
        return filled, s.NO_MODE
    if named or (bends and state[s.MOTION] > _LINE):
        filled, wrong = _move(
            state, tools, values, present, rules, machine, target, chords, points, speeds, flags, filled
        )
        if wrong:
            return filled, wrong
    return filled, ended


@njit(cache=True, nogil=True)
def run(data, start, state, tools, rules, machine, text_codes, line, points, speeds, flags):  # type: ignore[no-untyped-def]
    """Run lines from byte ``start`` on until the end, an error, or until ``points`` (n, 3) has no room for a line.

    ``line`` is room for one line (``words.line_arrays``). Answers where to go on, how many moves were made, and 0,
    ENDED or what is wrong in the last line read; everything else is in ``state`` and ``tools``.
    """
    values, present, codes, count = line
    target = np.empty(3)
    chords = np.empty((CHORDS_MOST, 3))
    filled = np.int64(0)  # a literal would compile everything below twice
    while start < data.size and filled + ROOM <= points.shape[0]:
        state[s.LINES] += 1
        start, found = read_line(data, start, rules[s.PRINTER] != 0, text_codes, values, present, codes, count)
        if found == SKIPPED:
            state[s.SKIPPED] += 1
            continue
        if found != READ:
            return start, filled, found
        filled, wrong = _obey(state, tools, line, rules, machine, target, chords, points, speeds, flags, filled)
        if wrong:
            return start, filled, wrong
    return start, filled, 0
