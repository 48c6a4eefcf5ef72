"""Whether what staff want to fix about a plate can hold: on that printer, set up then, after that plate.

Pure questions to the rows as they stand, so that the page can say at once why not. The planner obeys what was fixed and
has the last word (``planning.pins``): what turns out not to hold leaves the plate without a place, with the reason.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.components.figures import clock, day_clock
from planning.calendar import Calendar
from printing.hours import read_bells
from printing.models import Plate, Printer, Run
from printing.planner.beds import why_not_on
from printing.planner.snapshot import kind_value, take_snapshot
from printing.planner.values import nozzle_of
from printing.states import Outcome, PlateState

DAYS_AHEAD = 150


@dataclass(frozen=True)
class Pin:
    """What is to hold; at least one of the three."""

    printer: Printer | None = None
    setup_at: datetime | None = None
    after: Plate | None = None

    @property
    def is_empty(self) -> bool:
        return self.printer is None and self.setup_at is None and self.after is None


def why_not(plate: Plate, pin: Pin, now: datetime) -> str | None:
    """Why it cannot hold, in a sentence; None when nothing stands against it."""
    if pin.is_empty:
        return _("Choose a printer, a time or a plate to come after.")
    if pin.printer is not None and (reason := why_not_on_printer(plate, pin.printer, now)):
        return reason
    if pin.after is not None and (reason := _why_not_after(plate, pin)):
        return reason
    return _why_not_then(plate, pin, now) if pin.setup_at is not None else None


def why_not_on_printer(plate: Plate, printer: Printer, now: datetime) -> str | None:
    """Why that printer cannot print the plate as it is arranged: "Heron cannot hold a 240 mm chassis."."""
    if printer.room_id != plate.room_id:
        return _("%(printer)s stands in another room.") % {"printer": printer}
    if str(printer.pk) in plate.durations_s:
        return None
    snapshot = take_snapshot(plate.room_id, now)
    laid = next((each.laid for each in snapshot.plates if each.id == plate.pk), None)
    if laid is not None and laid.places:
        reason = why_not_on(laid, kind_value(printer.kind), snapshot.copies, nozzle_of(laid.settings))
        if reason:
            return f"{printer} {reason}."
    return _("%(printer)s cannot print %(plate)s.") % {"printer": printer, "plate": plate}


def _why_not_after(plate: Plate, pin: Pin) -> str | None:
    """The order must lead somewhere: not to itself, not round in a circle, not behind a later start."""
    before, names = pin.after, {"plate": plate, "before": pin.after}
    if before is None:
        return None
    if before.pk == plate.pk:
        return _("A plate cannot come after itself.")
    if before.room_id != plate.room_id or before.state != PlateState.PLANNED:
        return _("%(before)s is not waiting any more, so nothing can be put behind it.") % names
    if any(each.pk == plate.pk for each in chain(before)):
        return _("%(before)s is fixed to come after %(plate)s: the order would go round in a circle.") % names
    if pin.setup_at and before.pin_setup_at and before.pin_setup_at > pin.setup_at:
        at = {**names, "when": day_clock(before.pin_setup_at)}
        return _("%(before)s is fixed to start later, %(when)s.") % at
    return None


def chain(plate: Plate) -> Iterator[Plate]:
    """The plates it is fixed to come after, nearest first."""
    seen = {plate.pk}
    at = plate.pin_after
    while at is not None and at.pk not in seen:
        yield at
        seen.add(at.pk)
        at = at.pin_after


def _why_not_then(plate: Plate, pin: Pin, now: datetime) -> str | None:
    """With a printer given, why it cannot start there then; without, why on none of those that can hold it."""
    assert pin.setup_at is not None
    if pin.setup_at < now:
        return _("That time has passed already.")
    if pin.printer is not None:
        return _Moment(plate, pin.setup_at, now).why_not(pin.printer)
    printers = Printer.objects.filter(room=plate.room_id, pk__in=[int(key) for key in plate.durations_s])
    moment = _Moment(plate, pin.setup_at, now)
    reasons = [moment.why_not(printer) for printer in printers.select_related("kind", "room")]
    if not reasons:
        return _("No printer can print this plate as it is arranged.")
    return None if None in reasons else reasons[0]


class _Moment:
    """One plate set up at one time: read once, asked for each printer."""

    def __init__(self, plate: Plate, setup_at: datetime, now: datetime) -> None:
        self.plate, self.setup_at, self.room = plate, setup_at, plate.room
        bells = read_bells(self.room)
        today = now.astimezone(bells.zone).date()
        days = (setup_at.astimezone(bells.zone).date() - today).days
        self.calendar: Calendar = bells.calendar(today, min(max(days, 0), DAYS_AHEAD) + 2)
        self.pinned = list(
            Plate.objects.filter(room=self.room, state=PlateState.PLANNED, pin_setup_at__isnull=False)
            .exclude(pk=plate.pk)
            .select_related("printer__kind", "pin_printer__kind")
        )

    def why_not(self, printer: Printer) -> str | None:
        """The first thing that stands against it on that printer."""
        names = {"printer": printer, "plate": self.plate, "when": day_clock(self.setup_at)}
        starts_at = self.setup_at + timedelta(minutes=self.room.start_min)
        ends_at = starts_at + timedelta(seconds=float(self.plate.durations_s[str(printer.pk)]))
        minute = self.calendar.to_minute(self.setup_at)
        day = self.calendar.day_of(minute)
        if day is None or not all(self.calendar.staff_at(minute + each) for each in range(self.room.start_min)):
            return _("Nobody is in the room to set it up %(when)s.") % names
        unattended = self.room.unattended_allowed and printer.may_run_unattended
        if not unattended and ends_at > self.calendar.to_datetime(day.end):
            ends = {**names, "end": clock(ends_at), "close": clock(self.calendar.to_datetime(day.end))}
            return _("On %(printer)s it would print until %(end)s and the staffed day ends at %(close)s.") % ends
        for outage in printer.outages.all():
            if outage.since < ends_at and (outage.until is None or self.setup_at < outage.until):
                return _("%(printer)s is out of service then: %(reason)s.") % {**names, "reason": outage.reason}
        return self._busy(printer, ends_at, minute, names)

    def _busy(self, printer: Printer, ends_at: datetime, minute: int, names: dict[str, object]) -> str | None:
        run = Run.objects.filter(printer=printer, outcome=Outcome.RUNNING).select_related("plate").first()
        if run:
            free_at = cleared_at(run.expected_end_at, printer)
            if free_at > self.setup_at:
                told = {**names, "other": run.plate, "free": day_clock(free_at)}
                return _("%(printer)s prints %(other)s and is clear only about %(free)s.") % told
        hands = 0
        for other in self.pinned:
            at = other.pin_setup_at
            assert at is not None
            where = other.pin_printer or other.printer
            if abs((at - self.setup_at).total_seconds()) < 60 * self.room.start_min:
                hands += 1
            if where is not None and where.pk == printer.pk and str(printer.pk) in other.durations_s:
                until = cleared_at(at + timedelta(seconds=float(other.durations_s[str(printer.pk)])), printer)
                if at < cleared_at(ends_at, printer) and self.setup_at < until:
                    return _("%(other)s is fixed on %(printer)s at that time.") % {**names, "other": other}
        if hands >= self.calendar.staff_at(minute):
            return _("Everybody in the room is setting up other fixed plates %(when)s.") % names
        return None


def cleared_at(ends_at: datetime, printer: Printer) -> datetime:
    """When the bed can be clear at the earliest after a print that ends then."""
    cool_s = printer.kind.machine_value().cool_down_s
    return ends_at + timedelta(seconds=cool_s) + timedelta(minutes=printer.room.clear_min)


def words(plate: Plate, now: datetime | None = None) -> str:
    """What is fixed: "on Heron, Tue 17 Nov, 10:15, after P3"; empty when nothing is."""
    parts = []
    if plate.pin_printer:
        parts.append(_("on %(printer)s") % {"printer": plate.pin_printer})
    if plate.pin_setup_at:
        parts.append(day_clock(plate.pin_setup_at))
    if plate.pin_after:
        parts.append(_("after %(plate)s") % {"plate": plate.pin_after})
    if has_passed(plate, now):
        parts.append(_("that time has passed"))
    return ", ".join(parts)


def has_passed(plate: Plate, now: datetime | None = None) -> bool:
    """Whether it was to start at a time that is over: the plan then starts it as soon as it can."""
    return plate.pin_setup_at is not None and plate.pin_setup_at < (now or timezone.now())
