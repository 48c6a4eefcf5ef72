"""Small random rooms for the planner's tests: outages, nights, pins, spools, running prints and clock changes."""

from __future__ import annotations

from datetime import date, time

import numpy as np

from planning.calendar import Calendar, StaffedInterval, always_staffed, build_calendar
from planning.schedule import rule_plans, solve
from planning.types import Kit, Outage, Pin, Plan, PlateJob, PrinterState, Problem, RoomRules, Stop
from planning.verify import violations

MORNING, AFTERNOON = (time(8), time(12)), (time(12, 30), time(15, 30))
MONDAY = date(2026, 11, 2)
SPRING_CHANGE_FRIDAY = date(2026, 3, 27)
AUTUMN_CHANGE_FRIDAY = date(2026, 10, 23)
RULES_ONLY = Stop(iterations=0)
BRIEF = Stop(iterations=400)


def school_calendar(first: date = MONDAY, days: int = 21, staff: int = 1, weekends: bool = False) -> Calendar:
    """8:00-12:00 and 12:30-15:30 in Berlin, where the clocks change on the last Sundays of March and October."""

    def plan(day: date) -> tuple[StaffedInterval, ...]:
        if day.weekday() >= 5 and not weekends:
            return ()
        return (StaffedInterval(*MORNING, staff), StaffedInterval(*AFTERNOON, staff))

    return build_calendar(first, days, "Europe/Berlin", plan)


def job(name: str, minutes: int, printers: str = "A", kit: str | None = None, **more: object) -> PlateJob:
    """A plate of red PLA, 10 g, printable in so many minutes on each of the printers named by one letter."""
    settings: dict[str, object] = {"material": "PLA", "colour": "red", "grams": 10.0} | more
    return PlateJob(name, (kit,) if kit else (), duration_min=dict.fromkeys(printers, minutes), **settings)  # type: ignore[arg-type]


def printer(name: str, ready: int = 480, **more: object) -> PrinterState:
    """A printer loaded with a full spool of red PLA."""
    settings: dict[str, object] = {"material": "PLA", "colour": "red", "spool_g": 750.0} | more
    return PrinterState(name, f"Printer {name}", ready, **settings)  # type: ignore[arg-type]


def random_room(seed: int, printers: int = 4, plates: int = 16) -> Problem:
    """A room in which every rule can matter. The calendar starts on a Monday or just before a clock change."""
    random = np.random.default_rng(seed)
    first = (MONDAY, SPRING_CHANGE_FRIDAY, AUTUMN_CHANGE_FRIDAY)[seed % 3]
    calendar = school_calendar(first, 28, staff=int(random.integers(1, 4)), weekends=bool(seed % 2))
    colours = ["red", "blue", "green"]
    states = []
    for number in range(printers):
        running = bool(random.random() < 0.4)
        outages = []
        if random.random() < 0.4:
            start = int(random.integers(480, 5000))
            outages.append(Outage(start, start + int(random.integers(60, 900)), "nozzle"))
        states.append(
            PrinterState(
                id=f"p{number}",
                name=f"Printer {number}",
                ready_minute=480 + int(random.integers(0, 300)) * running,
                running=running,
                material="PLA",
                colour=str(random.choice(colours)),
                spool_g=float(random.integers(0, 800)),
                may_run_unattended=bool(random.random() < 0.4),
                outages=tuple(outages),
                running_plate_id=f"now{number}" if running else None,
                running_kit_ids=("k0",) if running else (),
            )
        )
    kits = tuple(
        Kit(f"k{number}", int(random.integers(600, 9000)) if number else None, int(random.integers(1, 9)))
        for number in range(max(2, plates // 3))
    )
    jobs = []
    for number in range(plates):
        hours = float(np.clip(random.lognormal(0.8, 0.6), 0.3, 9.0))
        able = [state.id for state in states if random.random() < 0.8]
        pin = Pin()
        if random.random() < 0.15 and able:
            pin = Pin(printer_id=str(random.choice(able)))
        elif random.random() < 0.1:
            pin = Pin(setup_start=int(random.integers(480, 2400)))
        elif random.random() < 0.15 and number:
            pin = Pin(after_plate_ids=(f"j{int(random.integers(0, number)):02d}",))
        published = bool(able) and random.random() < 0.3
        jobs.append(
            PlateJob(
                id=f"j{number:02d}",
                kit_ids=tuple(sorted({f"k{int(random.integers(0, len(kits)))}" for _ in range(2)})),
                material="PLA",
                colour=str(random.choice(colours)),
                grams=float(np.round(hours * random.uniform(5, 60), 3)),
                duration_min={each: int(np.ceil(hours * 60 * random.uniform(0.8, 1.2))) for each in able},
                cool_min=int(random.integers(0, 12)),
                pin=pin,
                published_printer_id=able[0] if published else None,
                published_setup_start=480 + 5 * int(random.integers(0, 200)) if published else None,
                queue_position=int(random.integers(0, 50)),
            )
        )
    rules = RoomRules(
        start_min=int(random.integers(1, 8)),
        swap_min=int(random.integers(0, 15)),
        clear_min=int(random.integers(1, 12)),
        unattended_allowed=bool(random.random() < 0.5),
        frozen_min=int(random.choice([0, 60, 240])),
        change_penalty=int(random.choice([0, 50])),
    )
    return Problem(calendar, 480, tuple(states), tuple(jobs), kits, rules)


def textbook(minutes: list[int], due: list[int], weights: list[int], machines: int = 1) -> Problem:
    """A published machine-scheduling problem: staff always there, no set-up, one colour, each plate its own kit."""
    names = "ABCDEFGHIJ"[:machines]
    calendar = always_staffed(sum(minutes) + 64)
    rules = RoomRules(start_min=0, swap_min=0, clear_min=0, new_spool_g=1e6)
    jobs = tuple(job(f"j{i:03d}", p, names, f"k{i:03d}", grams=0.0, queue_position=i) for i, p in enumerate(minutes))
    kits = tuple(Kit(f"k{i:03d}", d, w) for i, (d, w) in enumerate(zip(due, weights, strict=True)))
    return Problem(calendar, 0, tuple(printer(name, ready=0, spool_g=1e6) for name in names), jobs, kits, rules)


def room(*plates: PlateJob, printers: tuple = (), kits: tuple = (), rules: RoomRules | None = None) -> Problem:
    """A small room at 8:00 of its first day, with one printer unless told otherwise."""
    return Problem(school_calendar(), 480, printers or (printer("A"),), plates, kits, rules or RoomRules())


def solved(problem: Problem, stop: Stop = RULES_ONLY, **more: object) -> Plan:
    """Its plan, verified."""
    plan = solve(problem, stop, **more)  # type: ignore[arg-type]
    assert violations(problem, plan) == []
    return plan


def in_turn(problem: Problem) -> Plan:
    """First come, first served."""
    plan = rule_plans(problem)["FIFO"]
    assert violations(problem, plan) == []
    return plan
