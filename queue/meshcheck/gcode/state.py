"""What the machine remembers from line to line, as places in one array, and the words that change it."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.gcode.words import ABSENT, GIVEN

# places in the state, a float64 array; lengths mm, times s, in the machine's own coordinates unless said
X, Y, Z = 0, 1, 2
OFFSET = 3  # 3, 4, 5: program coordinates are the machine's less these
E = 6  # in program coordinates
TOOL, FEED_MM_S, SCALE, ABSOLUTE, E_ABSOLUTE, E_FIXED, MOTION, PLANE, CENTRE_ABSOLUTE = 7, 8, 9, 10, 11, 12, 13, 14, 15
SPEED_SHARE, FLOW_SHARE, REST = 16, 17, 18
FEED_S, WAIT_S, PATH_MM, GROSS_MM = 19, 20, 21, 22
NOZZLE_C, BED_C, PAUSES, SKIPPED, HEATS, UNTIMED, LINES, DETAIL, MOVES = 23, 24, 25, 26, 27, 28, 29, 30, 31
SIZE = 32

TOOLS_MOST = 16
NO_MOTION = -1

# rules: places in an int64 array (the dialect), and in a float64 array (the machine)
PRINTER, DWELL_MS, RAPIDS_AT_FEED, AXES_SET_EXTRUDER = 0, 1, 2, 3
TRAVEL_MM_S, ACCELERATION_MM_S2, HOMING_S, RETRACTION_S = 0, 1, 2, 3

# what is wrong beyond what ``words`` finds
MODE, WORD, FEED, AXIS, NO_MODE, ARC, FAR, DWELL, EXTRUDER, VOLUMETRIC, TOOL_NUMBER = range(30, 41)
ENDED = 2

# what a line asks for besides modes
NOTHING, DWELLS, HOMES, SETS, RESETS, OWN = 0, 1, 2, 3, 4, 5


def new_state() -> np.ndarray:
    """Millimetres, absolute, no motion yet, everything at zero."""
    state = np.zeros(SIZE)
    state[SCALE], state[ABSOLUTE], state[E_ABSOLUTE] = 1.0, 1.0, 1.0
    state[MOTION], state[PLANE] = NO_MOTION, 17.0
    state[SPEED_SHARE], state[FLOW_SHARE] = 1.0, 1.0
    state[NOZZLE_C] = state[BED_C] = np.nan
    return state


@njit(cache=True, nogil=True)
def _set_mode(state, code, rules):  # type: ignore[no-untyped-def]
    """G words (times ten) that only set a mode; whether this was one."""
    if code == 170 or code == 180 or code == 190:
        state[PLANE] = code // 10
    elif code == 200 or code == 210:
        state[SCALE] = 25.4 if code == 200 else 1.0
    elif code == 900 or code == 910:
        state[ABSOLUTE] = 1.0 if code == 900 else 0.0
        if rules[AXES_SET_EXTRUDER] and state[E_FIXED] == 0:
            state[E_ABSOLUTE] = state[ABSOLUTE]
    elif code == 901 or code == 911:
        state[CENTRE_ABSOLUTE] = 1.0 if code == 901 else 0.0
    elif code == 800:
        state[MOTION] = NO_MOTION
    elif code == 0 or code == 10 or code == 20 or code == 30:
        state[MOTION] = code // 10
    else:
        # feed per minute, no cutter compensation, no length offset, first work coordinates, path modes
        return code == 940 or code == 400 or code == 490 or code == 540 or code == 610 or code == 640
    return True


@njit(cache=True, nogil=True)
def g_words(state, codes, count, rules, machine):  # type: ignore[no-untyped-def]
    """Obey the G words of a line: what it asks for, and what is wrong (0: nothing)."""
    asked = NOTHING
    for i in range(count):
        code = codes[i]
        if _set_mode(state, code, rules):
            continue
        if code == 40:
            asked = DWELLS
        elif code == 280 or (code == 300 and not rules[PRINTER]):
            asked = HOMES
        elif code == 920:
            asked = SETS
        elif code == 921:
            asked = RESETS
        elif code == 930 or code == 950:
            state[DETAIL] = code / 10
            return asked, MODE
        elif rules[PRINTER] and (code == 100 or code == 110):  # pull back and push forward by word
            state[WAIT_S] += machine[RETRACTION_S] / 2
            state[REST] = 1.0
            asked = OWN
        elif rules[PRINTER] and (120 <= code < 130 or 290 <= code < 350):  # clean the nozzle, probe the bed
            state[UNTIMED] += 1
            state[REST] = 1.0
            asked = OWN
        else:
            state[DETAIL] = code / 10
            return asked, WORD
    return asked, 0


@njit(cache=True, nogil=True)
def _number(values, present, letter):  # type: ignore[no-untyped-def]
    """The number of a letter (0: A), or NaN where it has none."""
    return values[letter] if present[letter] == GIVEN else np.nan


@njit(cache=True, nogil=True)
def _heat(state, place, values, present):  # type: ignore[no-untyped-def]
    """A temperature in S, or in R where cooling is waited for too."""
    target = _number(values, present, 18)
    if np.isnan(target):
        target = _number(values, present, 17)
    if target > 0:
        state[HEATS] += 1
        if np.isnan(state[place]) or target > state[place]:
            state[place] = target


@njit(cache=True, nogil=True)
def m_words(state, codes, count, values, present, rules):  # type: ignore[no-untyped-def]
    """Obey the M words of a line: 0, ENDED, or what is wrong. Words that move nothing and wait for nobody pass."""
    for i in range(count):
        code = codes[i]
        if code == 20 or (code == 300 and not rules[PRINTER]):
            return ENDED
        if code == 0 or code == 10 or (rules[PRINTER] and (code == 2260 or code == 6000 or code == 6010)):
            state[PAUSES] += 1
            state[REST] = 1.0
        if not rules[PRINTER]:
            continue
        if code == 820 or code == 830:
            state[E_ABSOLUTE] = 1.0 if code == 820 else 0.0
            state[E_FIXED] = 1.0
        elif code == 1040 or code == 1090:
            _heat(state, NOZZLE_C, values, present)
        elif code == 1400 or code == 1900:
            _heat(state, BED_C, values, present)
        elif code == 2000:
            diameter = _number(values, present, 3)
            if diameter > 0:
                return VOLUMETRIC
        elif code == 2200 or code == 2210:
            percent = _number(values, present, 18)
            if not np.isnan(percent):
                if not 1 <= percent <= 1000:
                    return FAR
                state[SPEED_SHARE if code == 2200 else FLOW_SHARE] = percent / 100
    return 0


@njit(cache=True, nogil=True)
def tool_and_feed(state, values, present, heats):  # type: ignore[no-untyped-def]
    """T and F: 0 or what is wrong. On a line that sets a temperature T only says of which extruder."""
    if present[19] == GIVEN and not heats:
        tool = values[19]
        if not 0 <= tool < TOOLS_MOST or tool != int(tool):
            return TOOL_NUMBER
        state[TOOL] = tool
    if present[5] != ABSENT:
        feed = _number(values, present, 5) * state[SCALE] / 60
        if not 1e-6 < feed < 1e5:
            return FEED
        state[FEED_MM_S] = feed
    return 0


@njit(cache=True, nogil=True)
def dwell(state, values, present, rules):  # type: ignore[no-untyped-def]
    """G4: P in the dialect's unit, S in seconds."""
    seconds = 0.0
    if present[15] == GIVEN:
        seconds = values[15] / 1000 if rules[DWELL_MS] else values[15]
    elif present[18] == GIVEN:
        seconds = values[18]
    if not 0 <= seconds <= 86_400:
        return DWELL
    state[WAIT_S] += seconds
    state[FEED_S] += seconds
    state[REST] = 1.0
    return 0


@njit(cache=True, nogil=True)
def set_position(state, values, present, rules, reset):  # type: ignore[no-untyped-def]
    """G92: what the place where the head stands is to be called; G92.1: by its own name again."""
    named = False
    for axis in range(3):
        named = named or present[23 + axis] == GIVEN
    extruder = present[4] == GIVEN
    for axis in range(3):
        if reset or (present[23 + axis] != GIVEN and not rules[PRINTER]):
            state[OFFSET + axis] = 0.0
        elif present[23 + axis] == GIVEN:
            state[OFFSET + axis] = state[axis] - values[23 + axis] * state[SCALE]
        elif not named and not extruder:
            state[OFFSET + axis] = state[axis]
    if extruder:
        state[E] = values[4] * state[SCALE]
    elif rules[PRINTER] and not named and not reset:
        state[E] = 0.0
    return 0
