"""The grammar of text STL as a compiled scanner: solid, facets of one outer loop of three vertices, endsolid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.reading.numbers import NOT_A_NUMBER, NUMBER, is_word, read_number, skip_space, word_end
from meshcheck.types import FloatArray

COMPLETE, TRUNCATED, GARBLED, NOT_THREE, NOT_FINITE = range(5)

_SHORTEST_FACET = 80  # bytes from "facet normal" to "endfacet" with one-digit numbers and a blank after each word
_NORMAL_WORDS_MAX = 8  # words tolerated between "facet" and "outer"; normals are not used

_SOLID, _FACET, _NORMAL, _OUTER, _LOOP, _VERTEX, _ENDLOOP, _ENDFACET, _ENDSOLID = (
    np.frombuffer(word, np.uint8).copy()
    for word in (b"solid", b"facet", b"normal", b"outer", b"loop", b"vertex", b"endloop", b"endfacet", b"endsolid")
)


@dataclass(frozen=True, slots=True, eq=False)
class TextScan:
    """What the scanner found. triangles (faces, 3, 3); position is where reading stopped."""

    triangles: FloatArray
    faces: int
    solids: int
    status: int
    position: int
    corners_seen: int
    commas: bool


def scan(text: NDArray[np.uint8]) -> TextScan:
    """Read every solid of the text (uint8)."""
    triangles = np.empty((len(text) // _SHORTEST_FACET + 1, 3, 3))
    faces, solids, status, position, corners, commas = _scan(text, triangles)
    return TextScan(
        triangles[:faces].copy(), int(faces), int(solids), int(status), int(position), int(corners), bool(commas)
    )


@njit(cache=True, nogil=True)
def _scan(text, triangles):  # type: ignore[no-untyped-def]
    faces, solids, corners, commas = 0, 0, 3, False
    i = skip_space(text, 0)
    while i < text.size:
        end = word_end(text, i)
        if not is_word(text, i, end, _SOLID):
            return faces, solids, _misplaced(text, end), i, corners, commas
        solids += 1
        i = skip_space(text, _name_end(text, end))
        while True:
            if i >= text.size:
                return faces, solids, TRUNCATED, i, corners, commas
            end = word_end(text, i)
            if is_word(text, i, end, _ENDSOLID):
                i = skip_space(text, _line_end(text, end))
                break
            if not is_word(text, i, end, _FACET) or faces >= triangles.shape[0]:
                return faces, solids, _misplaced(text, end), i, corners, commas
            i, status, corners, comma = _facet(text, end, triangles[faces])
            commas = commas or comma
            if status != COMPLETE:
                return faces, solids, status, i, corners, commas
            faces += 1
            i = skip_space(text, i)
    return faces, solids, COMPLETE, i, corners, commas


@njit(cache=True, nogil=True)
def _facet(text, i, triangle):  # type: ignore[no-untyped-def]
    """One facet after its first word: (position after endfacet, status, corners, decimal comma seen)."""
    corners, commas = 0, False
    for _ in range(_NORMAL_WORDS_MAX):
        i = skip_space(text, i)
        end = word_end(text, i)
        if is_word(text, i, end, _OUTER) or is_word(text, i, end, _FACET) or is_word(text, i, end, _ENDFACET):
            break
        i = end
    if not is_word(text, i, end, _OUTER):
        return i, _misplaced(text, end), corners, commas
    i = skip_space(text, end)
    end = word_end(text, i)
    if not is_word(text, i, end, _LOOP):
        return i, _misplaced(text, end), corners, commas
    while True:
        i = skip_space(text, end)
        end = word_end(text, i)
        if not is_word(text, i, end, _VERTEX):
            break
        for axis in range(3):
            i = skip_space(text, end)
            end = word_end(text, i)
            if end >= text.size:
                return i, TRUNCATED, corners, commas
            value, status, comma = read_number(text, i, end)
            if status != NUMBER:
                return i, NOT_FINITE if status == NOT_A_NUMBER else GARBLED, corners, commas
            triangle[min(corners, 2), axis] = value
            commas = commas or comma
        corners += 1
    if not is_word(text, i, end, _ENDLOOP):
        return i, _misplaced(text, end), corners, commas
    if corners != 3:
        return i, NOT_THREE, corners, commas
    i = skip_space(text, end)
    end = word_end(text, i)
    status = COMPLETE if is_word(text, i, end, _ENDFACET) else _misplaced(text, end)
    return (end if status == COMPLETE else i), status, corners, commas


@njit(cache=True, nogil=True)
def _misplaced(text, end):  # type: ignore[no-untyped-def]
    """A wrong word in the middle is garbled; one that reaches the end of the file was cut off."""
    return TRUNCATED if end >= text.size else GARBLED


@njit(cache=True, nogil=True)
def _line_end(text, i):  # type: ignore[no-untyped-def]
    while i < text.size and text[i] != 10 and text[i] != 13:
        i += 1
    return i


@njit(cache=True, nogil=True)
def _name_end(text, i):  # type: ignore[no-untyped-def]
    """The name of a solid ends with its line, or, in files without line ends, before "facet normal"."""
    stop = _line_end(text, i)
    while i < stop:
        i = skip_space(text, i)
        end = word_end(text, i)
        after = skip_space(text, end)
        if is_word(text, i, end, _FACET) and is_word(text, after, word_end(text, after), _NORMAL):
            return i
        i = end
    return stop
