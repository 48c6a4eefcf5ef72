"""A chance as ten squares: shown, not promised."""

from __future__ import annotations

from dataclasses import dataclass

LOW_BELOW = 70  # in 100: below it the squares take the colour of what is to be mended
SIDE = 16.0
STEP = 20


@dataclass(frozen=True)
class ChanceSquares:
    """``in_100`` from 0 to 100; ``squares`` as x of each square and how much of it is filled, in px."""

    in_100: int
    low: bool
    squares: tuple[tuple[int, float], ...]


def chance_squares(in_100: int) -> ChanceSquares:
    """The ten squares of a chance; the last one begun is filled in part."""
    filled = [min(max(in_100 - 10 * square, 0), 10) for square in range(10)]
    places = ((1 + STEP * square, round(SIDE * share / 10, 1)) for square, share in enumerate(filled))
    return ChanceSquares(in_100, in_100 < LOW_BELOW, tuple(places))
