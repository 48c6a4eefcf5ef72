"""Arrays, units, levels, and how to say that something is not known."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


IntArray = NDArray[np.int32]


Vector = tuple[float, float, float]


T = TypeVar("T")


class Unit(StrEnum):
    """A length unit a file may have been drawn in."""

    MILLIMETRE = "mm"
    INCH = "inch"
    CENTIMETRE = "cm"
    METRE = "m"
    MICRON = "micron"
    FOOT = "foot"


MM_PER_UNIT: dict[Unit, float] = {
    Unit.MILLIMETRE: 1.0,
    Unit.INCH: 25.4,
    Unit.CENTIMETRE: 10.0,
    Unit.METRE: 1000.0,
    Unit.MICRON: 0.001,
    Unit.FOOT: 304.8,
}


class Level(StrEnum):
    """How serious one finding is."""

    PASSES = "passes"
    ADVICE = "advice"
    MUST_FIX = "must_fix"


class Verdict(StrEnum):
    """What the whole report says."""

    OK = "ok"
    ADVICE = "advice"
    MUST_FIX = "must_fix"
    REJECTED = "rejected"


@dataclass(frozen=True, slots=True)
class Unknown:
    """A quantity that could not be measured, and why, in plain words."""

    because: str


def known(value: T | Unknown) -> T | None:
    """The value, or None when it is an Unknown."""
    return None if isinstance(value, Unknown) else value


class MeshRejected(Exception):
    """The file cannot be measured at all.

    ``code`` is stable and short (``truncated``, ``empty``, ``too_many_faces`` ...), ``message``
    says what is wrong and ``mend`` what a student can do about it. Neither names a path.
    """

    def __init__(self, code: str, message: str, mend: str) -> None:
        super().__init__(message)
        self.code, self.message, self.mend = code, message, mend


@dataclass(frozen=True, slots=True)
class Note:
    """Something the reader noticed that does not stop the check (trailing bytes, skipped objects)."""

    code: str
    message: str
