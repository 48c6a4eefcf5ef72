"""Verbs of the bench: take a plate's file, start it, say how it went."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F
from django.db.models.functions import Greatest
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.components.figures import day_clock
from makerlab.components.filament import filament_of
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.actions.undo import before_clearing
from printing.causes import LATE_MIN, cause
from printing.hours import attended_until, is_out_of_service
from printing.learning import Seen, learn, lesson_of
from printing.models import Plate, PrintCopy, Printer, Run, RunCopy, Spool
from printing.signals import run_ended
from printing.states import CopyState, FailureReason, NotAllowedNow, Outcome, PlateState

WEIGHED_MOST_G = 20_000.0
NOTHING_SEEN = Seen()


@dataclass(frozen=True)
class Checks:
    """What the technician has looked at before a start. ``staying``: stays in the room past the staffed hours;
    ``short_spool``: knows that the spool may not last and stands by to change it."""

    right_spool: bool
    bed_clear: bool
    file_loaded: bool
    staying: bool = False
    short_spool: bool = False

    def missing(self) -> list[str]:
        """What was not ticked, in words."""
        asked = (
            (self.right_spool, _("the right spool is loaded")),
            (self.bed_clear, _("the bed is clear")),
            (self.file_loaded, _("the file of this plate is on the printer")),
        )
        return [text for ticked, text in asked if not ticked]


@transaction.atomic
def hold_plate(plate: Plate, actor: User) -> None:
    """The plate's file was taken: from now its copies stay together, whatever is planned anew."""
    permissions.check_can_hold(actor, plate)
    touch(plate.room_id)
    if Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED, held=False).update(held=True):
        record(plate.room.school_id, actor, "hold_plate", plate, copies=plate.copies.count())
        return
    if not Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED).exists():
        raise NotAllowedNow(_("%(plate)s is not waiting any more.") % {"plate": plate})


@transaction.atomic
def release_plate(plate: Plate, actor: User) -> None:
    """The file is not used after all: the plate may be laid out anew."""
    permissions.check_can_hold(actor, plate)
    touch(plate.room_id)
    if not Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED, held=True).update(held=False):
        raise NotAllowedNow(_("%(plate)s is not kept together any more.") % {"plate": plate})
    record(plate.room.school_id, actor, "release_plate", plate)
    want_plan(plate.room, cause("freed", plate=plate))


@transaction.atomic
def start_plate(plate: Plate, printer: Printer, actor: User, checks: Checks, now: datetime | None = None) -> Run:
    """Start a plate on a printer. Of many at once, one wins.

    Raises NotAllowedNow when the plate or the printer is not free, the printer cannot hold it, its spool does not fit,
    a check was not ticked, or it would still print when nobody is in the room and that is not allowed.
    """
    permissions.check_can_start(actor, plate)
    now = now or timezone.now()
    touch(plate.room_id)
    _check_checks(checks)
    planned_at = Plate.objects.filter(pk=plate.pk).values_list("starts_at", flat=True).first()
    if not Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED).update(
        state=PlateState.PRINTING, printer=printer, setup_at=now, starts_at=now
    ):
        raise NotAllowedNow(_("%(plate)s was already started.") % {"plate": plate})
    plate.refresh_from_db()
    duration_s = _duration_s(plate, printer)
    _check_printer(plate, printer, checks, now)
    ends_at = now + timedelta(seconds=duration_s)
    _check_attended(printer, ends_at, checks, now)
    try:
        with transaction.atomic():
            run = Run.objects.create(
                plate=plate,
                printer=printer,
                started_at=now,
                expected_end_at=ends_at,
                started_by=actor,
                estimate_s=float(plate.estimates_s.get(str(printer.pk), duration_s)),
                estimate_g=plate.mass_g,
            )
    except IntegrityError:
        raise NotAllowedNow(_("%(printer)s is printing something else.") % {"printer": printer}) from None
    cooled_at = ends_at + timedelta(seconds=printer.kind.machine_value().cool_down_s)
    cleared_at = cooled_at + timedelta(
        minutes=plate.room.clear_min
    )  # until the plan says when somebody has time for it
    Plate.objects.filter(pk=plate.pk).update(
        ends_at=ends_at,
        cleared_at=cleared_at,
        held=True,
        unplanned_because="",
        changes=F("changes") + 1,
        changed_at=now,
    )
    if not plate.copies.filter(state=CopyState.PLANNED).update(state=CopyState.PRINTING):
        raise NotAllowedNow(_("No copy stands on %(plate)s any more.") % {"plate": plate})
    record(plate.room.school_id, actor, "start_plate", plate, printer=printer.pk, run=run.pk, staying=checks.staying)
    want_plan(plate.room, _started(plate, printer, planned_at, now))
    return run


def _check_checks(checks: Checks) -> None:
    if missing := checks.missing():
        raise NotAllowedNow(_("First make sure of this: %(what)s.") % {"what": "; ".join(missing)})


def _duration_s(plate: Plate, printer: Printer) -> float:
    duration_s = plate.durations_s.get(str(printer.pk))
    if printer.room_id != plate.room_id or duration_s is None:
        raise NotAllowedNow(_("%(plate)s does not fit on %(printer)s.") % {"plate": plate, "printer": printer})
    return float(duration_s)


def _check_printer(plate: Plate, printer: Printer, checks: Checks, now: datetime) -> None:
    names = {"plate": plate, "printer": printer}
    running = Run.objects.filter(printer=printer, outcome=Outcome.RUNNING).select_related("plate").first()
    if running:
        raise NotAllowedNow(_("%(printer)s is printing %(other)s.") % {**names, "other": running.plate})
    if is_out_of_service(printer, now):
        raise NotAllowedNow(_("%(printer)s is out of service.") % names)
    spool = Spool.objects.filter(printer=printer).first()
    if spool is None:
        raise NotAllowedNow(_("No spool is loaded on %(printer)s.") % names)
    if (spool.material, spool.colour) != (plate.material, plate.colour):
        wanted = {"wanted": filament_of(plate), "loaded": str(spool), **names}
        raise NotAllowedNow(_("%(plate)s wants %(wanted)s; %(printer)s has %(loaded)s. Swap the spool.") % wanted)
    if spool.grams_left < plate.mass_g and not checks.short_spool:
        grams = {"left": f"{spool.grams_left:.0f}", "need": f"{plate.mass_g:.0f}", **names}
        raise NotAllowedNow(
            _(
                "The spool on %(printer)s holds %(left)s g and %(plate)s takes %(need)s g. Load a fuller one, weigh it "
                "if that is wrong, or say that you stand by to change it."
            )
            % grams
        )


def _check_attended(printer: Printer, ends_at: datetime, checks: Checks, now: datetime) -> None:
    if printer.room.unattended_allowed and printer.may_run_unattended:
        return
    until = attended_until(printer.room, now)
    if checks.staying or (until is not None and ends_at <= until):
        return
    raise NotAllowedNow(
        _(
            "It would still be printing when nobody is in the room. Start it tomorrow, "
            "or say that you stay until it ends and is cleared."
        )
    )


@transaction.atomic
def finish_run(run: Run, actor: User, now: datetime | None = None, seen: Seen = NOTHING_SEEN) -> None:
    """All copies are good: into the trays."""
    _end(run, actor, Outcome.FINISHED, {}, now or timezone.now(), seen)


@transaction.atomic
def mark_partly(
    run: Run, actor: User, lost: Mapping[int, str], now: datetime | None = None, seen: Seen = NOTHING_SEEN
) -> None:
    """Some copies are lost, by copy id with a FailureReason; they go back in the queue, the others into the trays.

    Raises NotAllowedNow when a copy is not on this plate, or when none or all of them are lost.
    """
    run.refresh_from_db()
    permissions.check_can_clear(actor, run)
    ids = set(run.plate.copies.values_list("pk", flat=True))
    if not set(lost) <= ids:
        raise NotAllowedNow(_("One of the copies is not on %(plate)s any more.") % {"plate": run.plate})
    if not lost:
        raise NotAllowedNow(_("Say which copies were lost, or that all of them are good."))
    if set(lost) == ids:
        raise NotAllowedNow(_("That is all of them: say that the whole plate failed."))
    _end(run, actor, Outcome.PARTLY_GOOD, lost, now or timezone.now(), seen)


@transaction.atomic
def mark_failed(run: Run, actor: User, reason: str, now: datetime | None = None, seen: Seen = NOTHING_SEEN) -> None:
    """Everything on the plate is lost, for one reason, and goes back in the queue."""
    lost = dict.fromkeys(run.plate.copies.values_list("pk", flat=True), reason)
    _end(run, actor, Outcome.FAILED, lost, now or timezone.now(), seen)


@transaction.atomic
def stop_run(run: Run, actor: User, now: datetime | None = None, seen: Seen = NOTHING_SEEN) -> None:
    """Staff stopped the print: all copies go back in the queue."""
    lost = dict.fromkeys(run.plate.copies.values_list("pk", flat=True), FailureReason.STOPPED)
    _end(run, actor, Outcome.STOPPED, lost, now or timezone.now(), seen)


def used_g(run: Run, outcome: str, now: datetime, seen: Seen = NOTHING_SEEN) -> float:
    """Grams the run took off the spool: what was weighed when all of it was good, else the estimate as this printer
    takes it by its weighed runs, or, of a run that did not reach its end, the elapsed share of it.

    The share is of time, up to the moment the printer stopped if somebody saw it, else up to now: grams are not spread
    evenly over the print and the failure may have come earlier, so weighing the spool says more.
    """
    if outcome == Outcome.FINISHED and seen.weighed_g:
        return seen.weighed_g
    learned = learn(run.plate.room_id)
    whole_g = lesson_of(learned, run.printer, run.plate.material).grams(run.estimate_g).mean
    expected_s = (run.expected_end_at - run.started_at).total_seconds()
    if outcome in {Outcome.FINISHED, Outcome.PARTLY_GOOD} or expected_s <= 0:
        return whole_g
    elapsed_s = ((seen.print_ended_at or now) - run.started_at).total_seconds()
    return whole_g * min(1.0, max(0.0, elapsed_s / expected_s))


def _check_seen(run: Run, seen: Seen, now: datetime) -> None:
    if seen.print_ended_at is not None and not run.started_at < seen.print_ended_at <= now:
        raise NotAllowedNow(
            _("The printer cannot have stopped then: the print was started %(start)s and it is %(now)s now.")
            % {"start": day_clock(run.started_at), "now": day_clock(now)}
        )
    if seen.weighed_g is not None and not 0 < seen.weighed_g < WEIGHED_MOST_G:
        raise NotAllowedNow(_("What came off the bed cannot weigh that. Read the scale again."))


def _end(run: Run, actor: User, outcome: Outcome, lost: Mapping[int, str], now: datetime, seen: Seen) -> None:
    """End a run: copies, plate, spool, record, and the wish for a new plan."""
    permissions.check_can_work_at_bench(actor, run.plate.room)
    if unknown := set(lost.values()) - set(FailureReason.values):
        raise NotAllowedNow(_("%(reason)s is not a reason we know.") % {"reason": sorted(unknown)[0]})
    _check_seen(run, seen, now)
    touch(run.plate.room_id)
    grams = used_g(run, outcome, now, seen)
    kept = before_clearing(run)
    note = "" if outcome in {Outcome.FINISHED, Outcome.PARTLY_GOOD} else f"{grams:.0f} g by elapsed time"
    ended = Run.objects.filter(pk=run.pk, outcome=Outcome.RUNNING).update(
        outcome=outcome, ended_at=now, cleared_by=actor, note=note,
        print_ended_at=seen.print_ended_at, weighed_g=seen.weighed_g, used_g=grams, price_per_kg=_price(run),
        before=kept,
    )  # fmt: skip
    if not ended:
        raise NotAllowedNow(_("Somebody has already said how %(plate)s went.") % {"plate": run.plate})
    Plate.objects.filter(pk=run.plate_id).update(state=PlateState.CLEARED, cleared_at=now, ends_at=now)
    copies = list(PrintCopy.objects.filter(plate=run.plate_id, state=CopyState.PRINTING))
    RunCopy.objects.bulk_create(
        RunCopy(run=run, copy=copy, good=copy.pk not in lost, reason=lost.get(copy.pk, "")) for copy in copies
    )
    on_plate = PrintCopy.objects.filter(pk__in=[copy.pk for copy in copies])
    on_plate.exclude(pk__in=lost).update(state=CopyState.IN_TRAY, in_tray_at=now)
    on_plate.filter(pk__in=lost).update(
        state=CopyState.WAITING, plate=None, place=None, x_mm=None, y_mm=None, turn_deg=0.0, tries=F("tries") + 1
    )
    Spool.objects.filter(printer=run.printer_id).update(grams_left=Greatest(F("grams_left") - grams, 0.0))
    record(
        run.plate.room.school_id,
        actor,
        f"run_{outcome.value}",
        run,
        plate=run.plate_id,
        good=len(copies) - len(lost),
        lost={str(pk): str(reason) for pk, reason in lost.items()},
        used_g=round(grams, 1),
    )
    want_plan(run.plate.room, _ended(run, outcome, len(lost)))
    run_ended.send(sender=Run, run=run, outcome=outcome)


def _price(run: Run) -> Decimal | None:
    """What a kilogram on the loaded spool cost; None when nobody has said."""
    spool = Spool.objects.filter(printer=run.printer_id).only("price_per_kg").first()
    return spool.price_per_kg if spool else None


def _ended(run: Run, outcome: Outcome, lost: int) -> dict[str, Any]:
    codes = {Outcome.FINISHED: "finished", Outcome.PARTLY_GOOD: "partly", Outcome.STOPPED: "stopped"}
    return cause(codes.get(outcome, "failed"), plate=run.plate, printer=run.printer, lost=lost)


def _started(plate: Plate, printer: Printer, planned_at: datetime | None, now: datetime) -> dict[str, Any]:
    """On time, or so much later than it was planned."""
    late_min = int((now - planned_at).total_seconds() // 60) if planned_at else 0
    if late_min < LATE_MIN:
        return cause("started", plate=plate, printer=printer)
    return cause("started_late", plate=plate, printer=printer, late_min=late_min)
