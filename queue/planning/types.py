"""What goes into a room plan and what comes out of it: frozen values, units in the names.

Lengths are millimetres, masses grams, angles degrees anticlockwise seen from above. Times are whole minutes
counted from ``Calendar.origin`` (an aware UTC datetime); every interval is half-open, ``[start, end)``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from planning.calendar import Calendar
from planning.shapes import Area, Bed, Circle, Footprint, Hull, Item, Misfit, PlacedItem, PlateLayout, Rectangle, Shape

# What the beds and layouts need is defined beside and offered here with the rest.
__all__ = [
    "Area",
    "Bed",
    "Circle",
    "Footprint",
    "Hull",
    "Item",
    "Misfit",
    "PlacedItem",
    "PlateLayout",
    "Rectangle",
    "Shape",
]

# --- the room ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Outage:
    """A printer is out of service in ``[start, end)``."""

    start: int
    end: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PrinterState:
    """A printer as it stands now.

    ``ready_minute``: from when it can be set up; while ``running``, when its print will have ended and cooled, so that
    it can be cleared (the clearing itself is planned). ``spool_g`` is what is left on the spool once the running print
    is done. ``running_kit_ids`` are the kits the running print serves: their lateness counts its clearing.
    """

    id: str
    name: str
    ready_minute: int
    running: bool = False
    material: str = ""
    colour: str = ""
    spool_g: float = 0.0
    may_run_unattended: bool = False
    outages: tuple[Outage, ...] = ()
    running_plate_id: str | None = None
    running_kit_ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pin:
    """What a teacher has fixed about a plate. All parts are optional and hold exactly.

    ``setup_start``: the minute the technician begins to set it up. ``after_plate_ids``: its set-up may not begin before
    the set-up of each of these plates has begun.
    """

    printer_id: str | None = None
    setup_start: int | None = None
    after_plate_ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlateJob:
    """One plate to be printed.

    ``duration_min`` maps printer id to minutes of printing, for eligible printers ONLY (bed, height, material, nozzle
    are the caller's to judge); ``barred`` may say why another printer is not eligible ("cannot hold a 240 mm
    chassis"). ``cool_min`` passes between the end of the print and its clearing, without a technician.
    ``queue_position`` is its place in the queue: first come, first served. ``published_*`` is what the technicians
    were last shown. It holds ``copies`` that are wanted and ``spares`` beyond them: a run with no more spoilt copies
    than spares counts as good.
    """

    id: str
    kit_ids: tuple[str, ...]
    material: str
    colour: str
    grams: float
    duration_min: Mapping[str, int]
    cool_min: int = 0
    pin: Pin = field(default_factory=Pin)
    published_printer_id: str | None = None
    published_setup_start: int | None = None
    queue_position: int = 0
    barred: Mapping[str, str] = field(default_factory=dict)
    copies: int = 1
    spares: int = 0

    def __post_init__(self) -> None:
        if self.grams < 0 or self.cool_min < 0:
            raise ValueError(f"Plate {self.id}: grams and cooling minutes cannot be negative.")
        if self.copies < 1 or self.spares < 0:
            raise ValueError(f"Plate {self.id}: it holds one copy at least, and no fewer than zero spares.")
        if any(minutes <= 0 for minutes in self.duration_min.values()):
            raise ValueError(f"Plate {self.id}: every printing time must be a minute or more.")


@dataclass(frozen=True, slots=True)
class Kit:
    """What one team needs for one meeting: served when the last plate with one of its parts is cleared.

    ``deadline_minute`` None: wanted, but never late. ``weight`` is class priority x teams.
    """

    id: str
    deadline_minute: int | None
    weight: int = 1

    def __post_init__(self) -> None:
        if self.weight < 0:
            raise ValueError(f"Kit {self.id}: the weight cannot be negative.")


@dataclass(frozen=True, slots=True)
class RoomRules:
    """How long staff actions take and what the school's policy allows.

    A published set-up that begins less than ``frozen_min`` from now does not move. One that begins less than
    ``published_min`` from now moves (other printer, or by more than ``change_tolerance_min``) only if the plan gains
    more than ``change_penalty`` weighted tardy minutes for each change.
    """

    start_min: int = 5
    swap_min: int = 10
    clear_min: int = 10
    new_spool_g: float = 750.0
    unattended_allowed: bool = False
    frozen_min: int = 0
    published_min: int = 24 * 60
    change_penalty: int = 0
    change_tolerance_min: int = 15

    def __post_init__(self) -> None:
        if min(self.start_min, self.swap_min, self.clear_min, self.frozen_min, self.change_penalty) < 0:
            raise ValueError("Minutes and penalties of the room cannot be negative.")
        if not self.new_spool_g > 0:
            raise ValueError("A new spool must hold some grams.")


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything the planner looks at. The order of the tuples does not matter; ids must be unique."""

    calendar: Calendar
    now: int
    printers: tuple[PrinterState, ...]
    plates: tuple[PlateJob, ...]
    kits: tuple[Kit, ...]
    rules: RoomRules = field(default_factory=RoomRules)

    def __post_init__(self) -> None:
        for what, ids in (
            ("printer", [p.id for p in self.printers]),
            ("plate", [p.id for p in self.plates]),
            ("kit", [k.id for k in self.kits]),
        ):
            if len(set(ids)) != len(ids):
                raise ValueError(f"Two {what}s have the same id.")
        kit_ids = {kit.id for kit in self.kits}
        for plate in self.plates:
            if unknown := set(plate.kit_ids) - kit_ids:
                raise ValueError(f"Plate {plate.id} serves a kit that is not in the problem: {sorted(unknown)[0]}.")


# --- the answer -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """One plate on one printer. Staff set it up in ``[setup_start, start)`` and clear it in ``[clear_start,
    clear_end)``; it prints in ``[start, end)``. ``swap``: the set-up includes a change of spool."""

    plate_id: str
    printer_id: str
    swap: bool
    setup_start: int
    start: int
    end: int
    clear_start: int
    clear_end: int


@dataclass(frozen=True, slots=True)
class PlannedClear:
    """When the print that is running now will be taken off."""

    printer_id: str
    clear_start: int
    clear_end: int


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A plate (or the clearing of a printer) the plan has no place for, and why."""

    plate_id: str
    reason: str


@dataclass(frozen=True, slots=True, order=True)
class Objective:
    """What a plan costs; compared in this order. A kit with an unplaced plate counts as served when the calendar ends.

    ``weighted_tardiness``: sum of weight x minutes late over kits. ``late_weight``: sum of the weights of late kits.
    ``swaps``: changes of spool. ``completion``: sum over plates of the minutes from now until they are cleared.
    """

    weighted_tardiness: int
    late_weight: int
    swaps: int
    completion: int


@dataclass(frozen=True, slots=True)
class Plan:
    """A room plan: runs in order of set-up, clears of running prints, and what could not be placed.

    ``released``: published starts inside the frozen window that can no longer hold (a printer failed), with the reason.
    ``changes``: how many published starts inside ``published_min`` were moved. ``method`` names what found the plan.
    """

    runs: tuple[PlannedRun, ...]
    objective: Objective
    unplaced: tuple[Unplaced, ...] = ()
    clears: tuple[PlannedClear, ...] = ()
    released: tuple[Unplaced, ...] = ()
    changes: int = 0
    method: str = ""

    def run_of(self, plate_id: str) -> PlannedRun | None:
        """The run of that plate, or None."""
        return next((run for run in self.runs if run.plate_id == plate_id), None)


@dataclass(frozen=True, slots=True)
class Stop:
    """When the search ends: after ``seconds``, or after ``iterations`` in each of its two variants (repeatable to the
    bit), whichever is given and comes first. ``iterations=0``: dispatch rules and the warm start only. ``prove``: with
    few plates left, the rest of the seconds (or a fixed amount of work) goes into proving or improving the plan."""

    seconds: float | None = None
    iterations: int | None = None
    prove: bool = True

    def __post_init__(self) -> None:
        if self.seconds is None and self.iterations is None:
            raise ValueError("Say when to stop: seconds or iterations.")


# --- explanation and forecast -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class KitLateness:
    """When a kit is served; ``ready_minute`` None: not within the calendar. ``late_min`` 0 when on time."""

    kit_id: str
    ready_minute: int | None
    deadline_minute: int | None
    late_min: int


@dataclass(frozen=True, slots=True)
class DayLoad:
    """One staffed day: planned staff minutes and printing against what there is, in percent."""

    day: date
    technician_percent: float
    printer_percent: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class WeekLoad:
    """Work wanted by the end of a staffed week (Monday to Sunday) against what there is until then."""

    first_day: date
    last_day: date
    technician_percent: float
    printer_percent: float
    too_many_min: int  # starts and clears for which nobody has time


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why the plan is as it is, in figures."""

    kits: tuple[KitLateness, ...]
    days: tuple[DayLoad, ...]
    weeks: tuple[WeekLoad, ...]


class Noticed(StrEnum):
    """When staff see that a print has failed."""

    WHEN_STAFFED = "when_staffed"
    AT_PLANNED_END = "at_planned_end"


@dataclass(frozen=True, slots=True)
class Risk:
    """How unsure a run is. ``fail_per_start`` is a chance, ``fail_per_hour`` a rate (per printing hour);
    ``duration_spread`` is the standard deviation of ln(real / planned minutes), with median 1. ``spoil_per_copy`` is
    the chance that a copy is bad although the print ran to its end (a run that is partly good)."""

    fail_per_start: float = 0.0
    fail_per_hour: float = 0.0
    duration_spread: float = 0.0
    spoil_per_copy: float = 0.0

    def __post_init__(self) -> None:
        chances = (self.fail_per_start, self.spoil_per_copy)
        if not all(0 <= chance <= 1 for chance in chances) or self.fail_per_hour < 0 or self.duration_spread < 0:
            raise ValueError("Chances lie between 0 and 1; rates and spreads are zero or more.")


@dataclass(frozen=True, slots=True)
class KitForecast:
    """``chance`` of being served by the deadline (None without one); minutes None when beyond the calendar."""

    kit_id: str
    chance: float | None
    median_ready_minute: int | None
    ninety_percent_ready_minute: int | None


@dataclass(frozen=True, slots=True)
class DeadlineForecast:
    """All kits due at one minute: the chance that every one is there, and how many to expect."""

    deadline_minute: int
    kit_ids: tuple[str, ...]
    chance_all: float
    expected_kits: float
    median_ready_minute: int | None
    ninety_percent_ready_minute: int | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """What probably happens: shares of ``samples`` simulated courses of the plan."""

    samples: int
    kits: tuple[KitForecast, ...]
    deadlines: tuple[DeadlineForecast, ...]
    technician_hours: float
