"""What neighbouring layers have in common: the ground on which skins are told from sparse infill."""

from __future__ import annotations

from collections.abc import Sequence

from manifold3d import CrossSection

from meshcheck.types import IntArray

NOTHING = -1  # the window reaches beyond the part


class Intersections:
    """Sections by number, and the intersections of them, each worked out once."""

    def __init__(self, sections: Sequence[CrossSection]) -> None:
        self.sections = list(sections)
        self._known: dict[tuple[int, int], int] = {}

    def both(self, a: int, b: int) -> int:
        """The number of the intersection of sections a and b."""
        if NOTHING in (a, b):
            return NOTHING
        if a == b:
            return a
        key = (min(a, b), max(a, b))
        if key not in self._known:
            self._known[key] = len(self.sections)
            self.sections.append(self.sections[a] ^ self.sections[b])
        return self._known[key]

    def windows(self, shape_of: IntArray, size: int, *, after: bool) -> list[int]:
        """For each layer, what the ``size`` layers after (or before) it have in common.

        ``shape_of`` (L,) numbers the section of each layer. With size 0 every layer covers itself. Runs of layers are
        joined by doubling, so the work grows with the logarithm of the size.
        """
        shapes = [int(shape) for shape in shape_of]
        count = len(shapes)
        if size == 0:
            return shapes
        run = self._runs(shapes, size)
        if after:
            return [run[k + 1] if k + 1 < count else NOTHING for k in range(count)]
        return [run[k - size] if k >= size else NOTHING for k in range(count)]

    def _runs(self, shapes: list[int], size: int) -> list[int]:
        """For each layer k, the intersection of layers k up to k + size - 1."""
        span, current = 1, shapes
        while 2 * span <= size:
            current = [self._pair(current, k, span) for k in range(len(shapes))]
            span *= 2
        if span < size:  # two overlapping runs cover what is left
            current = [self._pair(current, k, size - span) for k in range(len(shapes))]
        return current

    def _pair(self, current: list[int], k: int, shift: int) -> int:
        return self.both(current[k], current[k + shift]) if k + shift < len(current) else NOTHING
