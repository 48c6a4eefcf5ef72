"""What one kind of finding is made of, and where the limits come from."""

from __future__ import annotations

from dataclasses import dataclass

from meshcheck.types import Level

FIX, ADVICE, PASSES = Level.MUST_FIX, Level.ADVICE, Level.PASSES

KIT = "the gauge of the kit part"
ASSIGNMENT = "the assignment's limits"
ROOM = "the largest bed in the room"
SKIN = "3MF core specification 1.4.0: every edge belongs to exactly two triangles, wound in opposite order"
POSITIVE = "3MF core specification 1.4.0: what crosses itself is read by the positive fill rule"
STEEP = "45° from upright prints without support: Jiang, Xu and Stringer 2018 (JMMP 2:64); Mazlan 2020"
WALL = "two lines side by side; print-bureau guides ask for 0.8 mm and more, no standard says so"
SMALL = "print-bureau guides: holes under 2 mm close up, pins under 3 mm break; no standard says so"
BRIDGE = "10 mm is common practice, no source; print-bureau guides claim 25 to 60 mm for single machines"
POSES = "our estimate of both poses; how grams, minutes and risk are weighed is common practice, no source"
MILLIONTH = "our limit: a millionth of the part's size"


@dataclass(frozen=True, slots=True)
class Entry:
    """One kind of finding. ``unit`` and ``decimals`` say how ``value``, ``low`` and ``high`` are written."""

    level: Level
    title: str
    figure: str = ""
    why: str = ""
    mend: str = ""
    limit_source: str = ""
    unit: str = "mm"
    decimals: int = 2
