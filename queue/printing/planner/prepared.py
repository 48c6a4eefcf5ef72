"""Files the technician prepared elsewhere, as the planner takes them: while one stands it is the plate's estimate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from printing.models import Plate, PreparedFile

if TYPE_CHECKING:
    from printing.planner.estimates import PlateFigures


@dataclass(frozen=True, slots=True)
class Prepared:
    """Seconds and grams of a file that stands, on the kind of printer it was prepared for."""

    kind_id: int
    duration_s: float
    mass_g: float


Standing = Mapping[str, list[Prepared]]  # by arrangement


def standing_files(room_id: int) -> Standing:
    """All files of the room that stand, by the arrangement they were prepared for."""
    found: dict[str, list[Prepared]] = {}
    rows = PreparedFile.objects.filter(plate__room_id=room_id, stands=True)
    for arrangement, kind_id, duration_s, mass_g in rows.values_list("arrangement", "kind", "duration_s", "mass_g"):
        if duration_s is not None and mass_g is not None:
            found.setdefault(arrangement, []).append(Prepared(kind_id, duration_s, mass_g))
    return found


def as_prepared(figures: PlateFigures, files: list[Prepared]) -> PlateFigures:
    """The plate's figures with those of its files in place of the estimate. Grams belong to the plate: the most of its
    files, so that the spool lasts whichever printer gets it. A kind that cannot print the plate stays barred."""
    durations = dict(figures.durations_s or {})
    usable = [file for file in files if file.kind_id in durations]
    if not usable:
        return figures
    durations |= {file.kind_id: file.duration_s for file in usable}
    return replace(figures, durations_s=durations, mass_g=max(file.mass_g for file in usable))


def withdraw_changed(plate: Plate, arrangement: str) -> int:
    """Files of the plate that were prepared for another arrangement stand no longer. Returns how many."""
    changed = PreparedFile.objects.filter(plate=plate, stands=True).exclude(arrangement=arrangement)
    return changed.update(stands=False)
