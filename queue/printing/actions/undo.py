"""What was just done at the bench taken back: a start, or how a run was said to have gone. For ten minutes."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.models import Plate, PrintCopy, Run, Spool
from printing.states import CopyState, NotAllowedNow, Outcome, PlateState

UNDO_TIME = timedelta(minutes=10)


def before_clearing(run: Run) -> dict[str, Any]:
    """Where each printing copy of the run lies and what is loaded, kept so that the clearing can be taken back."""
    copies = PrintCopy.objects.filter(plate=run.plate_id, state=CopyState.PRINTING)
    spool = Spool.objects.filter(printer=run.printer_id).first()
    times = (run.plate.ends_at, run.plate.cleared_at)
    return {
        "copies": {str(pk): place for pk, *place in copies.values_list("pk", "place", "x_mm", "y_mm", "turn_deg")},
        "spool": [spool.pk, spool.grams_left] if spool else None,
        "times": [moment.isoformat() if moment else None for moment in times],
    }


@transaction.atomic
def undo_run(run: Run, actor: User, now: datetime | None = None) -> str:
    """Take back the start of a running print, or the clearing of an ended one. Returns ``start`` or ``clear``.

    Raises NotAllowedNow when it was more than ten minutes ago, or when what followed from it cannot be taken back: the
    printer prints something else, or a lost copy is printing again.
    """
    permissions.check_can_work_at_bench(actor, run.plate.room)
    now = now or timezone.now()
    touch(run.plate.room_id)
    run.refresh_from_db()
    at = run.started_at if run.outcome == Outcome.RUNNING else run.ended_at
    if at is None or now - at > UNDO_TIME:
        raise NotAllowedNow(_("That was more than ten minutes ago, so it stays."))
    if run.outcome == Outcome.RUNNING:
        _undo_start(run, actor)
        return "start"
    _undo_clear(run, actor)
    return "clear"


def _undo_start(run: Run, actor: User) -> None:
    """The plate is planned again and its copies stay together; the run never was."""
    PrintCopy.objects.filter(plate=run.plate_id, state=CopyState.PRINTING).update(state=CopyState.PLANNED)
    Plate.objects.filter(pk=run.plate_id).update(state=PlateState.PLANNED, changes=F("changes") + 1)
    room = run.plate.room
    record(room.school_id, actor, "undo_start", run.plate, printer=run.printer_id, run=run.pk)
    told = cause("start_undone", plate=run.plate, printer=run.printer)
    run.delete()
    want_plan(room, told)


def _undo_clear(run: Run, actor: User) -> None:
    """The run prints again, its copies lie where they lay, and what it took is back on the spool."""
    kept = run.before
    if not kept:
        raise NotAllowedNow(_("It is not known any more how the bed looked before. Say at the next print how it went."))
    if Run.objects.filter(printer=run.printer_id, outcome=Outcome.RUNNING).exists():
        raise NotAllowedNow(_("%(printer)s prints something else by now.") % {"printer": run.printer})
    lost = set(run.results.filter(good=False).values_list("copy_id", flat=True))
    copies = {copy.pk: copy for copy in PrintCopy.objects.select_related("plate").filter(pk__in=kept["copies"])}
    for pk in lost & set(copies):
        copy = copies[pk]
        if copy.state not in {CopyState.WAITING, CopyState.PLANNED} or (copy.plate is not None and copy.plate.held):
            raise NotAllowedNow(_("A copy that was lost is on its way again, so the clearing stays."))
    for key, (place, x_mm, y_mm, turn_deg) in kept["copies"].items():
        again = F("tries") - 1 if int(key) in lost else F("tries")
        PrintCopy.objects.filter(pk=int(key)).update(
            state=CopyState.PRINTING, plate=run.plate_id, place=place, x_mm=x_mm, y_mm=y_mm, turn_deg=turn_deg,
            tries=again, in_tray_at=None,
        )  # fmt: skip
    run.results.all().delete()
    ends_at, cleared_at = kept["times"]
    Plate.objects.filter(pk=run.plate_id).update(state=PlateState.PRINTING, ends_at=ends_at, cleared_at=cleared_at)
    if kept["spool"]:
        spool_id, grams_left = kept["spool"]
        taken = grams_left - max(0.0, grams_left - (run.used_g or 0.0))
        Spool.objects.filter(pk=spool_id).update(grams_left=F("grams_left") + taken)
    Run.objects.filter(pk=run.pk).update(
        outcome=Outcome.RUNNING, ended_at=None, cleared_by=None, note="", print_ended_at=None, weighed_g=None,
        used_g=None, price_per_kg=None, before=None,
    )  # fmt: skip
    record(run.plate.room.school_id, actor, "undo_clear", run, plate=run.plate_id, outcome=run.outcome)
    want_plan(run.plate.room, cause("clear_undone", plate=run.plate, printer=run.printer))
