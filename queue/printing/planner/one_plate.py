"""The job that works out one plate's grams and minutes, after it was laid out by hand."""

from __future__ import annotations

from collections.abc import Callable

from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.work.models import Job
from makerlab.work.registry import GiveUp
from printing.by_hand import version_of
from printing.models import Plate
from printing.planner.estimates import Estimates, PlateFigures
from printing.planner.problem import expected_s
from printing.planner.snapshot import take_snapshot
from printing.planner.values import Laid, Snapshot
from printing.reasons import kept_text
from printing.states import PlateState


def estimate(job: Job) -> Callable[[], None]:
    """Figures of the plate of the job; written only if it still stands as it did."""
    plate = Plate.objects.filter(pk=job.subject, state=PlateState.PLANNED).first()
    if plate is None:
        return lambda: None  # given up or started meanwhile: nothing to work out
    version = version_of(plate)
    snapshot = take_snapshot(plate.room_id, timezone.now())
    laid = next((each.laid for each in snapshot.plates if each.id == plate.pk), None)
    if laid is None or not laid.places:
        raise GiveUp(_("Nothing that can be printed stands on it."))
    estimates = Estimates(snapshot)
    figures = estimates.exact([laid])[0]

    def write() -> None:
        estimates.keep()
        row = Plate.objects.select_for_update(no_key=True).filter(pk=plate.pk, state=PlateState.PLANNED).first()
        if row is None or version_of(row) != version:
            return
        for name, value in figures_of(snapshot, laid, figures).items():
            setattr(row, name, value)
        row.save(update_fields=["mass_g", "estimates_s", "durations_s", "unplanned_because"])

    return write


def figures_of(snapshot: Snapshot, laid: Laid, figures: PlateFigures) -> dict[str, object]:
    """What the row of a plate says of its grams, of the model's seconds and of those expected, by printer."""
    durations = figures.durations_s or {}
    printers = [printer for printer in snapshot.printers if printer.kind.id in durations]
    return {
        "mass_g": figures.mass_g,
        "estimates_s": {str(printer.id): durations[printer.kind.id] for printer in printers},
        "durations_s": {
            str(printer.id): expected_s(snapshot, printer, laid, durations[printer.kind.id]) for printer in printers
        },
        "unplanned_because": kept_text(figures.unknown),
    }
