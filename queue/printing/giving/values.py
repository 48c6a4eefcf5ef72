"""What is asked about a lesson that might be given, and what is answered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Gift:
    """One class that would get the lesson: how many teams it has, and the lab day its parts are for."""

    class_id: int
    name: str
    teams: int
    deadline: datetime


@dataclass(frozen=True, slots=True)
class Filament:
    """Grams of one material and colour: wanted for this lesson, on the room's spools, and wanted there already.
    ``price_per_kg`` is None where no spool names one."""

    material: str
    colour: str
    wanted_g: float
    stock_g: float
    waiting_g: float
    price_per_kg: Decimal | None

    @property
    def short_g(self) -> float:
        """What must be bought; 0 where the spools last."""
        return max(0.0, self.wanted_g + self.waiting_g - self.stock_g)

    @property
    def cost(self) -> Decimal | None:
        if self.price_per_kg is None:
            return None
        return (self.price_per_kg * Decimal(str(self.wanted_g)) / 1000).quantize(Decimal("0.01"))


@dataclass(frozen=True, slots=True)
class ForClass:
    """How one class would fare. ``chance``: that every team has every part when the lab day begins."""

    name: str
    teams: int
    deadline: datetime
    chance: float
    expected_teams: float
    likely_at: datetime | None
    nearly_sure_at: datetime | None


@dataclass(frozen=True, slots=True)
class Load:
    """What the room's plan takes: plates, printer and technician minutes, when all is done, late teams."""

    plates: int
    printer_min: int
    staff_min: int
    done_at: datetime
    late_teams: int
    unplaced: int


@dataclass(frozen=True, slots=True)
class Reckoning:
    """The answer. ``before`` is the room without the lesson, ``after`` with it. ``rest`` are chances of classes that
    have parts in the queue already, before and after. ``latest_start``: the last day on which its printing may begin,
    the rest going on as planned, and still nobody is late by it; None where somebody is even when it begins now, or
    nothing is to be printed."""

    copies: int
    spares: int
    before: Load
    after: Load
    filaments: tuple[Filament, ...]
    classes: tuple[ForClass, ...]
    rest: tuple[tuple[str, float, float], ...]
    latest_start: date | None
    problems: tuple[str, ...]

    @property
    def cost(self) -> Decimal | None:
        """Of all filament; None where a price is not known."""
        costs = [filament.cost for filament in self.filaments]
        return None if None in costs else sum((cost for cost in costs if cost is not None), Decimal(0))

    @property
    def grams(self) -> float:
        return sum(filament.wanted_g for filament in self.filaments)

    @property
    def printer_min(self) -> int:
        return self.after.printer_min - self.before.printer_min

    @property
    def staff_min(self) -> int:
        return self.after.staff_min - self.before.staff_min

    @property
    def late_teams(self) -> int:
        """More than without it."""
        return max(0, self.after.late_teams - self.before.late_teams)

    @property
    def unplaced(self) -> int:
        """Copies that stand nowhere or find no time, more than without it: their minutes are not counted."""
        return max(0, self.after.unplaced - self.before.unplaced)

    @property
    def plates(self) -> int:
        return self.after.plates - self.before.plates
