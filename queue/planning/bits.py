"""Who is free when, one bit a minute: the technicians' diary inside the compiled kernels.

Minute ``t`` is bit ``t & 63`` of word ``t >> 6``. ``busy`` has a bit set where no further staff action can be taken.
``planes[k]`` has a bit set where k + 1 actions or more are booked; ``staff[k]`` where exactly k + 1 people are in the
room. ``skip[i]`` leads past words without a free minute (union-find), so that nights and full days cost nothing.
The last word is a guard: all busy, never passed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planning.compiled import inner, kernel

Words = NDArray[np.uint64]
Ints = NDArray[np.int32]

ONE = np.uint64(1)
ALL = np.uint64(0xFFFFFFFFFFFFFFFF)

# The number of trailing zeros of w is TABLE[(w & -w) * MAGIC >> 58]: a de Bruijn sequence of order 6.
MAGIC = np.uint64(0x03F79D71B4CB0A89)
TABLE = np.zeros(64, np.int64)
for _bit in range(64):
    TABLE[((0x03F79D71B4CB0A89 << _bit) & 0xFFFFFFFFFFFFFFFF) >> 58] = _bit


@inner
def trailing_zeros(word):  # type: ignore[no-untyped-def]
    """Index of the lowest set bit of a non-zero word."""
    return TABLE[((word & (~word + ONE)) * MAGIC) >> np.uint64(58)]


@inner
def next_open_word(skip: Ints, at: int) -> int:
    """The first word at or after ``at`` that is not known to be full."""
    root = at
    while skip[root] != root:
        root = skip[root]
    while skip[at] != root:
        following = skip[at]
        skip[at] = root
        at = following
    return root


@kernel
def first_free(busy: Words, skip: Ints, minute: int, length: int, limit: int) -> int:
    """The first minute >= ``minute`` from which ``length`` minutes in a row are free; ``limit`` if none before it."""
    last = len(busy) - 1
    while minute < limit:
        at = minute >> 6
        word = (~busy[at]) >> np.uint64(minute & 63)
        if word == 0:
            at = next_open_word(skip, at + 1) if at < last else last
            if at >= last:
                return limit
            minute = at << 6
            word = ~busy[at]
        minute += trailing_zeros(word)
        wanted = length
        probe = minute
        while True:
            offset = probe & 63
            taken = busy[probe >> 6] >> np.uint64(offset)
            if taken != 0:
                clear = trailing_zeros(taken)
                if clear >= wanted:
                    return minute
                minute = probe + clear
                break
            if 64 - offset >= wanted:
                return minute
            wanted -= 64 - offset
            probe += 64 - offset
    return limit


@inner
def _is_busy(busy, minute):  # type: ignore[no-untyped-def]
    return (busy[minute >> 6] >> np.uint64(minute & 63)) & ONE != 0


@inner
def _close_gaps(busy, skip, start, end, shortest):  # type: ignore[no-untyped-def]
    """Mark free minutes beside ``[start, end)`` as busy where fewer than ``shortest`` lie in a row: nothing fits there.

    Without this, searches would look at the same useless gaps over and over.
    """
    if _is_busy(busy, start):
        first = start
        while first > 0 and start - first < shortest and not _is_busy(busy, first - 1):
            first -= 1
        if start - first < shortest:
            for minute in range(first, start):
                _fill(busy, skip, minute >> 6, ONE << np.uint64(minute & 63))
    if _is_busy(busy, end - 1):
        last = end
        while last - end < shortest and not _is_busy(busy, last):
            last += 1
        if last - end < shortest:
            for minute in range(end, last):
                _fill(busy, skip, minute >> 6, ONE << np.uint64(minute & 63))


@inner
def _fill(busy, skip, word, mask):  # type: ignore[no-untyped-def]
    full = busy[word] | mask
    busy[word] = full
    if full == ALL and word < len(busy) - 1:
        skip[word] = word + 1


@kernel
def book(
    busy: Words,
    planes: NDArray[np.uint64],
    staff: NDArray[np.uint64],
    skip: Ints,
    start: int,
    end: int,
    shortest: int,
) -> None:
    """One person is taken in ``[start, end)``. ``shortest`` is the length of the shortest action ever looked for."""
    levels = planes.shape[0]
    minute = start
    while minute < end:
        at = minute >> 6
        offset = minute & 63
        count = min(64 - offset, end - minute)
        mask = ALL if count == 64 else ((ONE << np.uint64(count)) - ONE) << np.uint64(offset)
        for level in range(levels - 1, 0, -1):
            planes[level, at] |= planes[level - 1, at] & mask
        planes[0, at] |= mask
        full = np.uint64(0)
        for level in range(levels):
            full |= planes[level, at] & staff[level, at]
        _fill(busy, skip, at, full)
        minute += count
    if start < end:
        _close_gaps(busy, skip, start, end, shortest)


@inner
def copy(target, source):  # type: ignore[no-untyped-def]
    """Element by element: a slice assignment costs seconds of compiling for its error message."""
    for at in range(len(source)):
        target[at] = source[at]
