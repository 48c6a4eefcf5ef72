"""Rooms odd in every way, drawn from a seed: what a school may have although nobody would plan it so.

Days without staff, weeks that take turns, evenings until midnight, nights that must be over by a certain hour, clocks
changed both ways in zones near and far, printers out of service for good, spools that never suffice, pins that cannot
hold, parts too tall, deadlines long past, plates of a minute and of three days. All figures are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from planning.calendar import Calendar, StaffedInterval, always_staffed, build_calendar
from planning.types import Kit, Outage, Pin, PlateJob, PrinterState, Problem, RoomRules

# A zone and a date a few days before its clocks change (IANA time zone database); the last two change by half an hour
# and at midnight.
CHANGES = (
    ("Europe/Berlin", date(2026, 3, 26)),
    ("Europe/Berlin", date(2026, 10, 22)),
    ("America/New_York", date(2026, 3, 5)),
    ("America/New_York", date(2026, 10, 29)),
    ("Asia/Kolkata", date(2026, 1, 30)),
    ("Australia/Lord_Howe", date(2026, 4, 2)),
    ("America/Havana", date(2026, 10, 29)),
)
Draw = np.random.Generator


def odd_room(seed: int, most_plates: int = 14) -> Problem:
    """One room; the same for the same seed."""
    random = np.random.default_rng([seed, 20261125])
    calendar = _calendar(random)
    now = int(random.integers(0, max(1, min(calendar.end - 1, 3 * 1440))))
    printers = tuple(_printer(random, f"p{at}", now, calendar) for at in range(int(random.choice([0, 1, 1, 2, 3, 6]))))
    kits = tuple(_kit(random, f"k{at}", now, calendar) for at in range(int(random.integers(0, 7))))
    running = tuple(kit.id for kit in kits[:1])
    printers = tuple(
        PrinterState(**{**_fields(each), "running_kit_ids": running if each.running else ()}) for each in printers
    )
    count = int(random.choice([0, 1, 3, most_plates, most_plates]))
    plates = tuple(_plate(random, at, now, calendar, printers, kits) for at in range(count))
    return Problem(calendar, now, printers, plates, kits, _rules(random))


def _fields(printer: PrinterState) -> dict[str, object]:
    return {name: getattr(printer, name) for name in PrinterState.__dataclass_fields__}


def _calendar(random: Draw) -> Calendar:
    if random.random() < 0.08:
        return always_staffed(int(random.integers(50, 4000)), int(random.integers(1, 5)))
    zone, first = CHANGES[int(random.integers(len(CHANGES)))]
    rotation = [_day(random) for _ in range(int(random.integers(1, 4)))]
    weekends = random.random() < 0.3
    closed = {first + timedelta(days=int(at)) for at in random.integers(0, 20, 3)}

    def plan(day: date) -> tuple[StaffedInterval, ...]:
        if day in closed or (day.weekday() >= 5 and not weekends):
            return ()
        return rotation[day.toordinal() // 7 % len(rotation)]

    return build_calendar(first, int(random.integers(1, 22)), zone, plan, _nights(random, ZoneInfo(zone)))


def _day(random: Draw) -> tuple[StaffedInterval, ...]:
    kinds: tuple[tuple[StaffedInterval, ...], ...] = (
        (StaffedInterval(time(8), time(12), 1), StaffedInterval(time(12, 30), time(15, 30), 1)),
        (StaffedInterval(time(8), time(16), 0),),  # a date with hours and nobody in them
        (StaffedInterval(time(9), time(9, 4), 1),),  # too short for anything
        (StaffedInterval(time(18), time(0), 2),),  # until midnight
        (StaffedInterval(time(0), time(0), 1),),  # round the clock
        (StaffedInterval(time(2, 30), time(3), 1), StaffedInterval(time(2), time(7), 1)),  # in the hour that is skipped
        (StaffedInterval(time(8), time(15), 1), StaffedInterval(time(10), time(11), 3)),  # helpers for an hour
        (),
    )
    return kinds[int(random.integers(len(kinds)))]


def _nights(random: Draw, zone: ZoneInfo) -> Callable[[date], datetime | None] | None:
    """Unattended prints may end whenever they end, by midnight, or by two in the morning or five of the next day."""
    hour = random.choice([-1, 0, 2, 5])
    if hour < 0:
        return None
    return lambda day: datetime.combine(day + timedelta(days=1), time(int(hour)), zone)


def _printer(random: Draw, name: str, now: int, calendar: Calendar) -> PrinterState:
    running = bool(random.random() < 0.4)
    outages = []
    kind = random.random()
    if kind < 0.15:
        outages.append(Outage(0, calendar.end, "sold"))
    elif kind < 0.5:
        for _ in range(int(random.integers(1, 4))):  # they may overlap, touch or be over
            start = int(random.integers(0, calendar.end))
            outages.append(Outage(start, start + int(random.integers(0, 3000))))
    return PrinterState(
        id=name,
        name=f"Printer {name}",
        ready_minute=int(random.choice([0, now, now + 90, now + 6000, calendar.end + 500])) if running else now,
        running=running,
        material=str(random.choice(["PLA", "PETG", ""])),
        colour=str(random.choice(["red", "blue", ""])),
        spool_g=float(random.choice([0.0, 0.4, 200.0, 750.0, 3000.0])),
        may_run_unattended=bool(random.random() < 0.5),
        outages=tuple(outages),
        running_plate_id=f"now-{name}" if running else None,
    )


def _kit(random: Draw, name: str, now: int, calendar: Calendar) -> Kit:
    due = random.choice([-5000, now - 30, now, now + 400, now + 3000, calendar.end, calendar.end + 9000])
    return Kit(name, None if random.random() < 0.15 else int(due), int(random.choice([0, 1, 3, 100])))


def _plate(
    random: Draw, at: int, now: int, calendar: Calendar, printers: tuple[PrinterState, ...], kits: tuple[Kit, ...]
) -> PlateJob:
    minutes = int(
        random.choice([1, 1, 25, 90, 240, 700, 3 * 1440, 40 * 1440], p=[0.1, 0.1, 0.2, 0.25, 0.2, 0.05, 0.05, 0.05])
    )
    able = [each.id for each in printers if random.random() < 0.75]
    others = [each.id for each in printers if each.id not in able]
    published = bool(random.random() < 0.35)
    return PlateJob(
        id=f"j{at:02d}",
        kit_ids=tuple(sorted({str(random.choice([kit.id for kit in kits])) for _ in range(2)})) if kits else (),
        material=str(random.choice(["PLA", "PETG"])),
        colour=str(random.choice(["red", "blue"])),
        grams=float(random.choice([0.0, 0.0004, 12.5, 120.0, 749.9996, 5000.0], p=[0.1, 0.05, 0.4, 0.3, 0.1, 0.05])),
        duration_min={each: max(1, minutes + int(random.integers(-3, 4))) for each in able},
        cool_min=int(random.choice([0, 0, 7, 600])),
        pin=_pin(random, at, now, printers),
        published_printer_id=str(random.choice([*able, *others, "gone"])) if published else None,
        published_setup_start=now + int(random.integers(-60, 2000)) if published else None,
        queue_position=int(random.integers(0, 4)),
        barred=dict.fromkeys(others, "cannot hold a part 240 mm tall"),
    )


def _pin(random: Draw, at: int, now: int, printers: tuple[PrinterState, ...]) -> Pin:
    kind = random.random()
    on = str(random.choice([*(each.id for each in printers), "gone"])) if kind < 0.25 else None
    start = now + int(random.integers(-60, 3000)) if 0.15 < kind < 0.35 else None
    after = tuple(f"j{int(other):02d}" for other in random.integers(0, at + 2, 2)) if 0.3 < kind < 0.45 else ()
    return Pin(on, start, tuple(dict.fromkeys(after)))


def _rules(random: Draw) -> RoomRules:
    return RoomRules(
        start_min=int(random.choice([0, 1, 5, 20])),
        swap_min=int(random.choice([0, 10, 30])),
        clear_min=int(random.choice([0, 1, 10])),
        new_spool_g=float(random.choice([0.5, 750.0, 1000.0])),
        unattended_allowed=bool(random.random() < 0.6),
        frozen_min=int(random.choice([0, 60, 600, 5000])),
        published_min=int(random.choice([0, 1440, 5000])),
        change_penalty=int(random.choice([0, 10, 300])),
        change_tolerance_min=int(random.choice([0, 15])),
    )


__all__ = ["CHANGES", "odd_room"]
