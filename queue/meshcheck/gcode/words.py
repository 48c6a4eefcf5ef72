"""One line of the file taken apart into its words, in compiled code.

A line is ``N`` number, words, comments in brackets or after a semicolon, and a checksum after an asterisk. Blanks
between a letter and its number do not matter, nor does the case of letters.
"""

from __future__ import annotations

import numpy as np
from numba import njit

CODE_MOST = 256  # characters of one line, comments left out (NISTIR 6556, from memory)
LINE_MOST = 65_536
CODES_MOST = 12  # G words, and M words, of one line

# what ``read_line`` answers
READ, SKIPPED = 0, 1
NUL, LONG, NUMBER, SYMBOL, TWICE, CHECKSUM, COMMENT, CROWDED = 10, 11, 12, 13, 14, 15, 16, 17

ABSENT, GIVEN, BARE = 0, 1, 2  # of a letter: not there, with a number, alone

_NEWLINE, _RETURN, _TAB, _SPACE = 10, 13, 9, 32
_SEMICOLON, _OPEN, _CLOSE, _STAR, _PERCENT, _SLASH = 59, 40, 41, 42, 37, 47
_DOT, _PLUS, _MINUS, _ZERO, _NINE = 46, 43, 45, 48, 57
_A, _Z, _G, _M, _N = 65, 90, 71, 77, 78


@njit(cache=True, nogil=True)
def _upper(byte):  # type: ignore[no-untyped-def]
    return byte - 32 if 97 <= byte <= 122 else byte


@njit(cache=True, nogil=True)
def _line_end(data, start):  # type: ignore[no-untyped-def]
    """Where the line ends, where the next begins, and whether a NUL lies in between."""
    at = start
    nul = False
    while at < data.size and data[at] != _NEWLINE and data[at] != _RETURN:
        nul = nul or data[at] == 0
        at += 1
    following = at + 1
    if at + 1 < data.size and data[at] == _RETURN and data[at + 1] == _NEWLINE:
        following = at + 2
    return at, following, nul


@njit(cache=True, nogil=True)
def _blank(data, at, end):  # type: ignore[no-untyped-def]
    while at < end and (data[at] == _SPACE or data[at] == _TAB):
        at += 1
    return at


@njit(cache=True, nogil=True)
def _number(data, at, end):  # type: ignore[no-untyped-def]
    """The number that begins at ``at``: its value, where it ends, and how many digits it has (0: none is there)."""
    sign = 1.0
    begun = at
    if at < end and (data[at] == _PLUS or data[at] == _MINUS):
        sign = -1.0 if data[at] == _MINUS else 1.0
        at += 1
    digits = 0
    whole = 0.0
    scale = 1.0
    point = False
    while at < end:
        byte = data[at]
        if _ZERO <= byte <= _NINE:
            whole = 10.0 * whole + (byte - _ZERO)
            scale = 10.0 * scale if point else scale
            digits += 1
        elif byte == _DOT and not point:
            point = True
        else:
            break
        at += 1
    if digits == 0:
        return 0.0, at if at > begun else begun, 0
    return sign * whole / scale, at, digits


@njit(cache=True, nogil=True)
def _checked(data, start, star, end):  # type: ignore[no-untyped-def]
    """Whether the exclusive-or of all bytes before the asterisk is the number after it."""
    total = 0
    for i in range(start, star):
        total ^= int(data[i])
    at = _blank(data, star + 1, end)
    value, at, digits = _number(data, at, end)
    rest = _blank(data, at, end)
    return digits > 0 and value == total and (rest == end or data[rest] == _SEMICOLON)


@njit(cache=True, nogil=True)
def _plain_words(data, at, end):  # type: ignore[no-untyped-def]
    """Whether a line begins like plain words, not like a machine word: two letters in a row, or a sign."""
    first = _upper(data[at])
    if not _A <= first <= _Z:
        return first not in (_SLASH, _PERCENT, _STAR)
    second = _upper(data[at + 1]) if at + 1 < end else 0
    return _A <= second <= _Z or second == 95


@njit(cache=True, nogil=True)
def _word(data, at, end, values, present, codes, count):  # type: ignore[no-untyped-def]
    """One word from its letter on: where it ends and what is wrong with it (READ: nothing)."""
    letter = _upper(data[at])
    if not _A <= letter <= _Z:
        return at, SYMBOL
    at = _blank(data, at + 1, end)
    value, following, digits = _number(data, at, end)
    if digits == 0 and following > at:
        return following, NUMBER
    if digits > 40 or abs(value) > 1e9:
        return following, NUMBER
    if letter in (_G, _M):
        kind = 0 if letter == _G else 1
        if digits == 0:
            return following, NUMBER
        if count[kind] == CODES_MOST:
            return following, CROWDED
        codes[kind, count[kind]] = round(value * 10)
        count[kind] += 1
        return following, READ
    if present[letter - _A] != ABSENT:
        return following, TWICE
    present[letter - _A] = GIVEN if digits else BARE
    values[letter - _A] = value
    return following, READ


@njit(cache=True, nogil=True)
def read_line(data, start, macros, text_codes, values, present, codes, count):  # type: ignore[no-untyped-def]
    """Take the line at ``start`` apart: where the next begins, and READ, SKIPPED or what is wrong.

    values, present (26,): number and presence of every letter but G and M; codes (2, CODES_MOST): ten times the
    numbers of the G and M words, count (2,) how many. ``text_codes``: ten times the M codes after which free text
    follows. ``macros``: a line of plain words is SKIPPED.
    """
    end, following, nul = _line_end(data, start)
    present[:] = ABSENT
    count[:] = 0
    if nul:
        return following, NUL
    if end - start > LINE_MOST:
        return following, LONG
    at = _blank(data, start, end)
    if macros and at < end and data[at] != _SEMICOLON and data[at] != _OPEN and _plain_words(data, at, end):
        return following, SKIPPED
    code_size = 0
    while at < end:
        byte = data[at]
        if byte in (_SEMICOLON, _PERCENT):
            break
        if byte == _OPEN:
            while at < end and data[at] != _CLOSE:
                at += 1
            if at == end:
                return following, COMMENT
            at = _blank(data, at + 1, end)
            continue
        if byte == _STAR:
            return following, READ if _checked(data, start, at, end) else CHECKSUM
        if byte == _SLASH and count[0] + count[1] == 0:
            at = _blank(data, at + 1, end)
            continue
        begun = at
        at, wrong = _word(data, at, end, values, present, codes, count)
        if wrong != READ:
            return following, wrong
        if count[1] and (text_codes == codes[1, count[1] - 1]).any():
            return following, READ
        code_size += at - begun
        if code_size > CODE_MOST:
            return following, LONG
        at = _blank(data, at, end)
    return following, READ


def line_arrays() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Room for the words of one line: values, present, codes, count."""
    return np.zeros(26), np.zeros(26, np.int8), np.zeros((2, CODES_MOST), np.int64), np.zeros(2, np.int64)
