"""What the planner knows of a room: plain frozen values, read once, so that the slow part needs no database."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from makerlab.work.stored_files import Stored
from planning.learned import Learned, Lesson, Machine
from planning.types import Bed, Footprint, RoomRules
from printing.hours import Bells

BY_HAND = ("moved_up", "moved_down", "moved_to")  # causes: the queue's order was changed
# the least infill that is offered as a remedy: a fifth less would hardly show, none lets roofs sag (common practice,
# no source)
LIGHT_INFILL = 0.10


@dataclass(frozen=True)
class Source:
    """A measured file that can stand on a plate."""

    key: str
    path: Stored
    name: str
    sha256: str
    unit: str
    footprint: Footprint
    height_mm: float
    mass_g: float
    duration_s: float
    pose: tuple[tuple[float, float, float], ...] | None = None  # how it is laid, where not as it is drawn


@dataclass(frozen=True)
class WantedCopy:
    """One copy that has not started. ``rank``: teams before spares, then place in the queue, then number. A team's own
    spare has the team's ``kit_id``, so that it stands beside the others, but the kit does not wait for it."""

    id: int
    source: Source
    material: str
    colour: str
    settings: str  # canonical JSON of the PrintSettings: copies on one plate share it
    rank: tuple[bool, int, int]
    kit_id: str | None = None
    part: str = "part"
    assignment_id: int = 0
    spare: bool = False  # beyond what its team needs: nobody waits for it


def nozzle_of(settings: str) -> float:
    """The nozzle, in mm, that canonical print settings ask for."""
    return float(json.loads(settings)["nozzle_mm"])


@dataclass(frozen=True)
class KitNeed:
    """What one team waits for, and by when."""

    id: str
    name: str
    deadline: datetime
    weight: int


@dataclass(frozen=True)
class Kind:
    """Printers that are alike."""

    id: int
    name: str
    bed: Bed
    nozzle_mm: float
    machine: dict[str, Any]


@dataclass(frozen=True)
class Running:
    """What a printer prints now."""

    plate_id: int
    expected_end_at: datetime
    mass_g: float
    kit_ids: tuple[str, ...]


@dataclass(frozen=True)
class PrinterNow:
    """A printer with its spool, its outages and its running print."""

    id: int
    name: str
    kind: Kind
    may_run_unattended: bool
    material: str
    colour: str
    spool_g: float
    outages: tuple[tuple[datetime, datetime | None, str], ...]
    running: Running | None


@dataclass(frozen=True)
class Place:
    """Where one copy stands on a bed."""

    copy_id: int
    x_mm: float
    y_mm: float
    turn_deg: float


@dataclass(frozen=True)
class Laid:
    """Copies arranged on the bed of one kind of printer. ``plate_id`` names the row it comes from, if any."""

    places: tuple[Place, ...]
    kind_id: int | None  # None: arranged for the bed that all kinds have in common
    bed: Bed
    material: str
    colour: str
    settings: str
    plate_id: int | None = None
    held: bool = False
    stays: bool = False  # its copies stay together: taken, laid out by hand, fixed, or about to start

    @property
    def copy_ids(self) -> frozenset[int]:
        return frozenset(place.copy_id for place in self.places)


@dataclass(frozen=True)
class PinNow:
    """What staff have fixed about a plate: its printer, the start of its set-up, the plate it comes after."""

    printer_id: int | None = None
    setup_at: datetime | None = None
    after_plate_id: int | None = None


@dataclass(frozen=True)
class PlateNow:
    """A planned plate as it stands in the database, with what was last published about it."""

    id: int
    number: int
    laid: Laid
    printer_id: int | None
    setup_at: datetime | None
    swap: bool = False
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    cleared_at: datetime | None = None
    pin: PinNow = field(default_factory=PinNow)


@dataclass(frozen=True)
class Snapshot:
    """The room at one revision. ``unplaced`` maps copies that cannot be laid out to the reason."""

    room_id: int
    school_id: int
    revision: int
    now: datetime
    bells: Bells
    rules: RoomRules
    gap_mm: float
    printers: tuple[PrinterNow, ...]
    copies: dict[int, WantedCopy]
    kits: tuple[KitNeed, ...]
    plates: tuple[PlateNow, ...]
    unplaced: dict[int, str]
    plate_size: str = ""  # the way of laying out the staff chose; empty: the best
    laid_as: str = ""  # the way the arrangement in force was made
    learned: Learned = field(default_factory=Learned)

    def lesson(self, printer: PrinterNow, material: str) -> Lesson:
        """What that printer's runs with that material have taught."""
        return self.learned.of(Machine(printer.id, printer.kind.id, material))

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """Kinds with at least one printer in the room, in order of the printers."""
        return tuple({printer.kind.id: printer.kind for printer in self.printers}.values())
