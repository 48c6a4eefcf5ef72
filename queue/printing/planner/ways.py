"""The ways of filling plates, by name. Pages offer them; what lays plates out by them is not loaded for that."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Way:
    """One way of laying out: at most so many copies on a plate; kits together or not; on the bed all printers have in
    common, or shared out over the kinds of bed by their number of printers."""

    per_plate_max: int | None
    kits_together: bool
    shared_out: bool

    @property
    def code(self) -> str:
        """What rows and settings call it: "8-kits-any"."""
        size = "full" if self.per_plate_max is None else str(self.per_plate_max)
        return f"{size}{'-kits' if self.kits_together else ''}-{'own' if self.shared_out else 'any'}"

    @property
    def name(self) -> str:
        size = "as many as fit" if self.per_plate_max is None else f"up to {self.per_plate_max}"
        kits = ", kits together" if self.kits_together else ""
        return f"{size}{kits}, {'each on its bed' if self.shared_out else 'for any printer'}"


WAYS = tuple(
    Way(size, kits, shared)
    for size, kits in ((None, False), (8, True), (6, False), (4, True))
    for shared in (False, True)
)
