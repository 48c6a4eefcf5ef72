"""What the room's runs teach: reads them, newest first and no more than needed, for ``planning.learned``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, F, Q, Window
from django.db.models.functions import RowNumber

from planning.calibration import NEWEST_RUNS, FinishedRun
from planning.failures import Tally
from planning.learned import Learned, Lesson, Machine, RunOnRecord, learned_from
from printing.models import Printer, Run
from printing.states import Outcome

TO_THE_END = frozenset({Outcome.FINISHED.value, Outcome.PARTLY_GOOD.value})
FIELDS = (
    "pk", "printer_id", "printer__kind_id", "plate__material", "outcome", "started_at", "ended_at", "print_ended_at",
    "estimate_s", "estimate_g", "weighed_g",
)  # fmt: skip


def ended_runs(room_id: int) -> list[dict[str, Any]]:
    """The newest NEWEST_RUNS ended runs of each printer and material, oldest first, with their copies and lost ones."""
    newest = Window(
        RowNumber(),
        partition_by=[F("printer_id"), F("plate__material")],
        order_by=[F("started_at").desc(), F("pk").desc()],
    )
    ended = Run.objects.filter(printer__room_id=room_id, ended_at__isnull=False)
    rows = (
        Run.objects.filter(pk__in=ended.annotate(place=newest).filter(place__lte=NEWEST_RUNS).order_by().values("pk"))
        .annotate(copies=Count("results"), lost=Count("results", filter=Q(results__good=False)))
        .order_by("started_at", "pk")
        .values(*FIELDS, "copies", "lost")
    )
    return list(rows)


def learn(room_id: int) -> Learned:
    """One query; what follows from it is worked out only when it is asked for."""
    return learned_from((_machine(row), _on_record(row)) for row in ended_runs(room_id))


def lesson_of(learned: Learned, printer: Printer, material: str) -> Lesson:
    """What is known of a printer with a material."""
    return learned.of(Machine(printer.pk, printer.kind_id, material))


def _machine(row: Mapping[str, Any]) -> Machine:
    return Machine(row["printer_id"], row["printer__kind_id"], row["plate__material"])


def _on_record(row: Mapping[str, Any]) -> RunOnRecord:
    to_the_end = row["outcome"] in TO_THE_END
    count, lost = (row["copies"], row["lost"]) if to_the_end else (0, 0)
    tally = Tally(1, int(row["outcome"] == Outcome.FAILED), printed_s(row) / 3600, count, lost)
    return RunOnRecord(row["pk"], tally, finished_run(row))


def printed_s(row: Mapping[str, Any]) -> float:
    """Seconds printed: until the printer stopped if somebody saw it, else no longer than the estimate."""
    if row["print_ended_at"]:
        return seconds_between(row["started_at"], row["print_ended_at"])
    return min(float(row["estimate_s"]), seconds_between(row["started_at"], row["ended_at"]))


def finished_run(row: Mapping[str, Any]) -> FinishedRun | None:
    """What the run teaches: minutes when it went to its end and somebody saw when, grams when all of it was good and
    lay on the scale. A run whose end nobody saw teaches no minutes: when it was cleared says little."""
    if row["outcome"] not in TO_THE_END or not row["estimate_s"] > 0:
        return None
    actual_s = seconds_between(row["started_at"], row["print_ended_at"]) if row["print_ended_at"] else None
    weighed = row["weighed_g"] if row["outcome"] == Outcome.FINISHED and row["estimate_g"] > 0 else None
    if not actual_s and not weighed:
        return None
    return FinishedRun(row["estimate_s"], actual_s or None, row["estimate_g"] if weighed else None, weighed or None)


def seconds_between(start: datetime, end: datetime) -> float:
    return max(0.0, (end - start).total_seconds())


@dataclass(frozen=True)
class Seen:
    """What somebody saw when a bed was cleared: when the printer itself had stopped, and what came off the bed
    weighed. None: nobody looked."""

    print_ended_at: datetime | None = None
    weighed_g: float | None = None
