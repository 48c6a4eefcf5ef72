"""School makerspaces of the sizes the bars name, drawn from a seed: printers, classes, kits and plates.

Hours, weights and sizes are our own guesses at a busy school (no source): a print of about two hours, one kit part in
three on a plate of its own, meetings at four hours of the day, printers of three bed sizes and three speeds.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from planning.types import Kit, Outage, PlateJob, PrinterState, Problem, RoomRules
from tests.planning.rooms import school_calendar

MONDAY = date(2026, 11, 2)
NOW = 480
COLOURS = ("red", "blue", "green", "white", "black", "yellow")
POPULARITY = (0.35, 0.25, 0.15, 0.1, 0.1, 0.05)
BEDS_MM = (180, 220, 300)
MEETINGS = (9 * 60, 10 * 60 + 30, 13 * 60, 14 * 60 + 30)


@dataclass(frozen=True)
class Size:
    """``weeks`` until the last meeting; ``load`` stretches the prints; ``sooner`` divides the time to the meetings."""

    printers: int
    plates: int
    weeks: int
    staff: int
    load: float
    sooner: int = 1

    def __str__(self) -> str:
        return f"{self.printers} x {self.plates}"


SMALL = tuple(Size(5, 40, 1, 1, load) for load in (1.5, 2.0, 1.75))
MIDDLE = (Size(12, 150, 1, 2, 1.5), Size(12, 150, 1, 2, 1.0), Size(12, 150, 1, 1, 1.25))
LARGE = (Size(30, 400, 2, 1, 1.2), Size(30, 400, 2, 2, 1.8), Size(30, 400, 2, 2, 1.2))
TINY = Size(2, 8, 1, 1, 2.0, sooner=4)


def school_room(size: Size, seed: int) -> Problem:
    """A Monday morning with everything still to do."""
    random = np.random.default_rng(seed)
    calendar = school_calendar(MONDAY, 7 * (size.weeks + 4), staff=size.staff)
    beds = random.choice(BEDS_MM, size.printers, p=[0.2, 0.6, 0.2])
    beds[0] = BEDS_MM[-1]
    speeds = random.choice([1.0, 1.0, 1.25, 1.6], size.printers)
    printers = tuple(_printer(random, number) for number in range(size.printers))
    meetings = _meetings(random, size)
    kits: list[Kit] = []
    plates: list[PlateJob] = []
    while len(plates) < size.plates:
        due, weight = meetings[int(random.integers(len(meetings)))]
        teams = int(random.integers(2, 7))
        kits.append(Kit(f"k{len(kits):03d}", due, weight * teams))
        for _ in range(int(random.integers(1, 4))):
            if len(plates) < size.plates:
                plates.append(_plate(random, size, len(plates), kits[-1].id, printers, beds, speeds))
    return Problem(calendar, NOW, printers, tuple(plates), tuple(kits), RoomRules(new_spool_g=1000.0))


def _printer(random: np.random.Generator, number: int) -> PrinterState:
    running = bool(random.random() < 0.5)
    outages = ()
    if random.random() < 0.3:
        start = 1440 * int(random.integers(0, 5)) + NOW + int(random.integers(0, 300))
        outages = (Outage(start, start + int(random.integers(180, 1440))),)
    return PrinterState(
        id=f"p{number:02d}",
        name=f"Printer {number}",
        ready_minute=NOW + (int(random.integers(5, 150)) if running else 0),
        running=running,
        material="PLA",
        colour=str(random.choice(COLOURS, p=POPULARITY)),
        spool_g=float(random.integers(100, 1000)),
        may_run_unattended=bool(random.random() < 0.3),
        outages=outages,
        running_plate_id=f"now{number}" if running else None,
    )


def _meetings(random: np.random.Generator, size: Size) -> list[tuple[int, int]]:
    """Due minute and priority of each class."""
    days = [day for day in range(1, 7 * size.weeks) if day % 7 < 5]
    found = []
    for _ in range(max(3, size.plates // 8)):
        due = 1440 * int(random.choice(days)) + int(random.choice(MEETINGS))
        found.append((NOW + (due - NOW) // size.sooner, int(random.choice([1, 2, 3, 5], p=[0.4, 0.3, 0.2, 0.1]))))
    return found


def _plate(
    random: np.random.Generator,
    size: Size,
    number: int,
    kit_id: str,
    printers: tuple[PrinterState, ...],
    beds: np.ndarray,
    speeds: np.ndarray,
) -> PlateJob:
    hours = float(np.clip(random.lognormal(np.log(2.2 * size.load), 0.5), 0.6, 6.5))
    bed = int(random.choice(BEDS_MM, p=[0.6, 0.33, 0.07]))
    able = [at for at in range(len(printers)) if beds[at] >= bed]
    return PlateJob(
        id=f"j{number:03d}",
        kit_ids=(kit_id,),
        material="PLA",
        colour=str(random.choice(COLOURS, p=POPULARITY)),
        grams=float(np.round(np.clip(hours * random.uniform(12, 25), 10, 300), 1)),
        duration_min={printers[at].id: int(np.ceil(hours * 60 / speeds[at])) for at in able},
        queue_position=number,
    )
