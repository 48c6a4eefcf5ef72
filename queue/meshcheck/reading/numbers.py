"""Reading words and numbers out of text bytes, compiled, for the text formats."""

from __future__ import annotations

import numpy as np
from numba import njit

NUMBER, NOT_A_NUMBER, NO_NUMBER = 0, 1, 2  # read_number: fine; written as nan or inf; something else

_POWERS = 10.0 ** np.arange(309)
_DIGITS_KEPT = 18  # 18 digits fit int64; more add nothing to a double


@njit(cache=True, nogil=True)
def skip_space(text, i):  # type: ignore[no-untyped-def]
    """The next position that is neither blank nor control character."""
    while i < text.size and text[i] <= 32:
        i += 1
    return i


@njit(cache=True, nogil=True)
def word_end(text, i):  # type: ignore[no-untyped-def]
    """The position after the word that starts here."""
    while i < text.size and text[i] > 32:
        i += 1
    return i


@njit(cache=True, nogil=True)
def is_word(text, i, end, word):  # type: ignore[no-untyped-def]
    """Whether text[i:end] is this lower-case word, in any case."""
    if end - i != word.size:
        return False
    same = 0
    for k in range(word.size):
        same += (text[i + k] | 32) == word[k]
    return same == word.size


@njit(cache=True, nogil=True)
def read_number(text, i, end):  # type: ignore[no-untyped-def]
    """The number text[i:end]: (value, status, whether a decimal comma stands in it).

    Within two units in the last place of a double. A word beginning like nan or inf, or holding a # as some
    programs write it, is NOT_A_NUMBER; any other misfit is NO_NUMBER.
    """
    start = i
    negative = text[i] == 45
    if i < end and (text[i] == 45 or text[i] == 43):
        i += 1
    mantissa, exponent, kept, digits, comma, point = np.int64(0), 0, 0, 0, False, False
    while i < end:
        c = text[i]
        if 48 <= c <= 57:
            digits += 1
            if kept < _DIGITS_KEPT:
                mantissa = mantissa * 10 + (np.int64(c) - 48)
                if mantissa > 0:
                    kept += 1
                if point:
                    exponent -= 1
            elif not point:
                exponent += 1
        elif (c == 46 or c == 44) and not point:
            point, comma = True, c == 44
        else:
            break
        i += 1
    if digits > 0 and i < end and (text[i] | 32) == 101:
        i += 1
        sign = -1 if i < end and text[i] == 45 else 1
        if i < end and (text[i] == 45 or text[i] == 43):
            i += 1
        power, power_digits = 0, 0
        while i < end and 48 <= text[i] <= 57:
            power = power * 10 + (int(text[i]) - 48) if power < 1000 else power
            power_digits += 1
            i += 1
        exponent += sign * power
        if power_digits == 0:
            digits = 0
    if digits == 0 or i < end:
        return np.nan, _misfit(text, start, end), False
    value = _scaled(float(mantissa), exponent)
    return (-value if negative else value), NUMBER, comma


@njit(cache=True, nogil=True)
def _scaled(value, exponent):  # type: ignore[no-untyped-def]
    if value == 0.0 or exponent < -330:
        return 0.0
    if exponent > 308:
        return np.inf
    if exponent >= 0:
        return value * _POWERS[exponent]
    if exponent >= -308:
        return value / _POWERS[-exponent]
    return value / 1e308 / _POWERS[-exponent - 308]


@njit(cache=True, nogil=True)
def _misfit(text, start, end):  # type: ignore[no-untyped-def]
    """NOT_A_NUMBER for words such as nan, -inf, 1.#IND; else NO_NUMBER."""
    i = start + 1 if text[start] == 45 or text[start] == 43 else start
    if i + 2 < end:
        a, b, c = text[i] | 32, text[i + 1] | 32, text[i + 2] | 32
        if (a == 110 and b == 97 and c == 110) or (a == 105 and b == 110 and c == 102):
            return NOT_A_NUMBER
    for k in range(start, end):
        if text[k] == 35:
            return NOT_A_NUMBER
    return NO_NUMBER
