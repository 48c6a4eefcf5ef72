"""What one team's kit and materials cost: plastic by the estimates at today's prices, and what is used up."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from lessons.models import KitPart
from lessons.plans.cautions import rows_of

CENT = Decimal("0.01")
Filament = tuple[str, str]  # material, colour
# Printing is a higher layer: when it starts it puts its own function here, which knows the prices of a kilogram today;
# a filament without a price on record is left out.
price_sources: list[Callable[[int, set[Filament]], Mapping[Filament, Decimal]]] = []


@dataclass(frozen=True, slots=True)
class GroupCost:
    """Of one team, in the school's money. ``unpriced_g``: grams whose price nobody knows; ``unknown``: parts whose
    grams are not known yet. Neither is in the sum."""

    plastic_g: float
    plastic: Decimal
    unpriced_g: float
    unknown: tuple[str, ...]
    materials: Decimal

    @property
    def whole(self) -> Decimal:
        return self.plastic + self.materials

    @property
    def is_known(self) -> bool:
        return not self.unpriced_g and not self.unknown


def cost_of_group(school_id: int, parts: Iterable[KitPart], content: Mapping[str, Any]) -> GroupCost:
    """Copies for one team without spares; a file that holds several copies is counted by its share."""
    grams, unpriced, plastic, unknown = 0.0, 0.0, Decimal(0), []
    needed = [part for part in parts if part.copies_per_team]
    prices = _prices(school_id, {(part.material, part.colour) for part in needed})
    for part in needed:
        if part.mass_g is None:
            unknown.append(part.name)
            continue
        mass = part.mass_g * part.copies_per_team / max(1, part.copies_in_file)
        price = prices.get((part.material, part.colour))
        grams += mass
        if price is None:
            unpriced += mass
        else:
            plastic += price * Decimal(str(mass)) / 1000
    return GroupCost(grams, plastic.quantize(CENT), unpriced, tuple(unknown), _materials(content))


def _prices(school_id: int, wanted: set[Filament]) -> dict[Filament, Decimal]:
    found: dict[Filament, Decimal] = {}
    for source in price_sources if wanted else ():
        found = {**source(school_id, wanted), **found}
    return found


def _materials(content: Mapping[str, Any]) -> Decimal:
    total = Decimal(0)
    for row in rows_of(content, "materials_per_team"):
        price, quantity = row.get("price"), row.get("quantity")
        if isinstance(price, int | float) and isinstance(quantity, int | float):
            total += Decimal(str(price)) * Decimal(str(quantity))
    return total.quantize(CENT)
