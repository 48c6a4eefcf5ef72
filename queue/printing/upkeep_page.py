"""Upkeep of a printer: what was done last, and how many hours it has printed since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from printing.learning import printed_s
from printing.models import Printer, Run, Upkeep

NOTES_SHOWN = 12


@dataclass(frozen=True)
class Care:
    """One kind of work: when it was done last, None never, and the hours printed since, or altogether."""

    words: str
    at: datetime | None
    hours: float


@dataclass(frozen=True)
class UpkeepSheet:
    cares: tuple[Care, ...]
    notes: tuple[Upkeep, ...]


def upkeep_of(printer: Printer, ended: Sequence[Run]) -> UpkeepSheet:
    """One query; ``ended``: all runs of the printer that ended. An hour counts from the start of its run."""
    notes = list(Upkeep.objects.filter(printer=printer).select_related("by"))
    runs = [(run.started_at, printed_s(vars(run)) / 3600) for run in ended]
    last: dict[str, datetime] = {}
    for note in notes:  # newest first
        last.setdefault(note.work, note.at)

    def hours_since(moment: datetime | None) -> float:
        return sum(hours for started, hours in runs if moment is None or started >= moment)

    works = [work for work in Upkeep.Work if work != Upkeep.Work.OTHER]
    cares = tuple(Care(str(work.label), last.get(work), hours_since(last.get(work))) for work in works)
    return UpkeepSheet(cares, tuple(notes[:NOTES_SHOWN]))
