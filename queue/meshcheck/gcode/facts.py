"""What is known about a file of machine words once it is read."""

from __future__ import annotations

from dataclasses import dataclass

from meshcheck.types import Vector


class GcodeRejected(Exception):
    """The file cannot be read as machine words, or its time could not be told.

    ``code`` is stable and short, ``message`` says what is wrong (with the line where there is one) and ``mend`` what
    can be done about it.
    """

    def __init__(self, code: str, message: str, mend: str) -> None:
        super().__init__(message)
        self.code, self.message, self.mend = code, message, mend


@dataclass(frozen=True, slots=True)
class Box:
    """The corners of an upright box in the machine's own coordinates, mm."""

    lowest_mm: Vector
    highest_mm: Vector

    @property
    def size_mm(self) -> Vector:
        (a, b, c), (x, y, z) = self.lowest_mm, self.highest_mm
        return (x - a, y - b, z - c)


@dataclass(frozen=True, slots=True)
class GcodeFacts:
    """What a file does. It is read, not run: no machine was measured.

    ``duration_s`` is heat-up plus ``printing_s``, as an estimate's is; ``printing_s`` comes from the motion planner
    with the machine's acceleration and contains ``waiting_s`` (dwell, homing, retractions by word). ``feed_s`` is the
    lower bound: every move at its feed, as if speed cost nothing. ``net_mm`` of filament is the highest mark each
    extruder reached, ``gross_mm`` all that was pushed forward. ``moved`` is the box of all ends of moves, ``printed``
    of those that lay down material, ``upper`` of those above the lowest layer (without brim and priming lines); None
    where there are none. ``layers`` counts different heights at which material is laid down. Temperatures are the
    highest asked for; None when none was. ``tools`` are the extruders that pushed filament. ``pauses``: how often it
    waits for a person. ``untimed``: words that move the machine in a way nobody can time from outside (probing the
    bed). ``skipped_lines`` were not machine words.
    """

    dialect: str
    lines: int
    moves: int
    duration_s: float
    printing_s: float
    feed_s: float
    waiting_s: float
    heat_up_s: float
    path_m: float
    net_mm: float
    gross_mm: float
    mass_g: float
    height_mm: float
    layers: int
    moved: Box | None
    printed: Box | None
    upper: Box | None
    nozzle_c: float | None
    bed_c: float | None
    tools: tuple[int, ...]
    pauses: int
    untimed: int
    skipped_lines: int

    @property
    def filament_m(self) -> float:
        return self.net_mm / 1000
