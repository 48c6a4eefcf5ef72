"""What the bench shows: what to do next in order of time, and how each printer stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from makerlab.components.figures import clock, day_clock, grams, hours_and_minutes
from planning.learned import Learned
from printing.learning import learn
from printing.models import Outage, Plate, PrintCopy, Printer, Room, Run, Spool
from printing.outlook import will_it_last
from printing.queries import planned_plates
from printing.states import CopyState, Outcome

TODOS_SHOWN = 10
SOON = timedelta(minutes=10)


@dataclass(frozen=True)
class Todo:
    """One thing for the technician to do. ``due``: it can be done now."""

    at: datetime
    due: bool
    title: str
    text: str
    url: str
    action: str
    key: str
    is_clear: bool = False


@dataclass(frozen=True)
class PrinterCard:
    """A printer, what it prints, and what comes next."""

    printer: Printer
    run: Run | None
    outage: Outage | None
    spool: Spool | None
    mark: tuple[str, str, str]
    left_s: float | None
    text: str
    url: str
    action: str
    is_due: bool


def cool_at(run: Run) -> datetime:
    """When the bed should be cool: the printer's own waiting time after the estimated end. Nothing is measured."""
    return run.expected_end_at + timedelta(seconds=run.printer.kind.machine_value().cool_down_s)


def running(room: Room) -> list[Run]:
    return list(
        Run.objects.filter(plate__room=room, outcome=Outcome.RUNNING)
        .select_related("plate", "printer__kind", "started_by")
        .order_by("expected_end_at")
    )


def todo_list(room: Room, now: datetime) -> list[Todo]:
    """Clears of running prints and the next starts, in order of time."""
    runs = running(room)
    clears = [_clear(run, now) for run in runs]
    plates = [plate for plate in planned_plates(room) if plate.setup_at and plate.printer]
    spools = {spool.printer_id: spool for spool in Spool.objects.filter(room=room, printer__isnull=False)}
    starts = _starts(plates, runs, spools, learn(room.pk), now)
    return sorted(clears + starts, key=lambda todo: (todo.at, not todo.is_clear))


def _starts(
    plates: list[Plate], runs: list[Run], spools: dict[int | None, Spool], learned: Learned, now: datetime
) -> list[Todo]:
    """The starts in order of time; what the plates before one take from the same spool is reckoned with."""
    taken: dict[int | None, float] = {run.printer_id: run.estimate_g for run in runs}
    swapped: set[int | None] = set()
    starts = []
    for plate in plates:
        at, spool = plate.printer_id, spools.get(plate.printer_id)
        fits = spool is not None and (spool.material, spool.colour) == (plate.material, plate.colour)
        if at in swapped:
            words = _("By then the plan has changed the spool.")
        elif spool is None or not fits or plate.swap:
            words = _("Loaded is %(spool)s: swap it first.") % {"spool": spool or _("nothing")}
            swapped.add(at)
        else:
            words = _spool_words(plate, spool, learned, taken.get(at, 0.0))
        taken[at] = taken.get(at, 0.0) + plate.mass_g
        starts.append(_start(plate, words, at in {run.printer_id for run in runs}, now))
    return starts


def _clear(run: Run, now: datetime) -> Todo:
    ready = cool_at(run)
    trays = sorted(
        {
            copy.request.team.tray
            for copy in PrintCopy.objects.filter(plate=run.plate_id, state=CopyState.PRINTING).select_related(
                "request__team"
            )
            if copy.request.team
        }
    )
    where = _("for trays %(trays)s") % {"trays": ", ".join(map(str, trays))} if trays else _("spares")
    if now < run.expected_end_at:
        text = _("Ends %(end)s; the bed should be cool at %(cool)s. %(where)s.") % {
            "end": clock(run.expected_end_at),
            "cool": clock(ready),
            "where": capfirst(where),
        }
    elif now < ready:
        text = _("Finished by the estimate. Let the bed cool until %(cool)s. %(where)s.") % {
            "cool": clock(ready),
            "where": capfirst(where),
        }
    else:
        text = _("The bed should be cool by now: look before you touch. %(where)s.") % {"where": capfirst(where)}
    return Todo(
        at=ready,
        due=now >= ready,
        title=_("%(printer)s: clear %(plate)s") % {"printer": run.printer, "plate": run.plate},
        text=text,
        url=reverse("printing:run-detail", args=[run.pk]),
        action=_("Clear") if now >= ready else _("Open"),
        key=f"run-{run.pk}",
        is_clear=True,
    )


def _spool_words(plate: Plate, spool: Spool, learned: Learned, taken_g: float) -> str:
    """Whether what is loaded lasts for the plate, after what the plates before it take."""
    assert plate.printer is not None, "only planned plates are asked for"
    outlook = will_it_last(plate, plate.printer, spool, learned, taken_g)
    words = (
        _("The loaded spool will hold %(grams)s: %(lasts)s, %(words)s.")
        if taken_g
        else _("The loaded spool holds %(grams)s: %(lasts)s, %(words)s.")
    )
    left_g = max(0.0, spool.grams_left - taken_g)
    return words % {"grams": grams(left_g), "lasts": outlook.mark.text, "words": outlook.words}


def _start(plate: Plate, spool_words: str, is_busy: bool, now: datetime) -> Todo:
    at = plate.setup_at or now
    need = _("%(colour)s %(material)s, %(grams)s.") % {
        "colour": capfirst(plate.colour),
        "material": plate.material,
        "grams": grams(plate.mass_g),
    }
    free = not is_busy
    return Todo(
        at=at,
        due=free and now >= at - SOON,
        title=_("%(printer)s: start %(plate)s") % {"printer": plate.printer, "plate": plate},
        text=f"{need} {spool_words}",
        url=reverse("printing:plate-detail", args=[plate.pk]),
        action=_("Start") if free and now >= at - SOON else _("Get ready"),
        key=f"plate-{plate.pk}",
    )


def printer_cards(room: Room, now: datetime) -> list[PrinterCard]:
    """All printers in the order of the room."""
    runs = {run.printer_id: run for run in running(room)}
    following: dict[int, Plate] = {}
    for plate in planned_plates(room):
        if plate.printer_id and plate.setup_at:
            following.setdefault(plate.printer_id, plate)
    printers = Printer.objects.filter(room=room).select_related("kind", "spool").prefetch_related("outages")
    return [_card(printer, runs.get(printer.pk), following.get(printer.pk), now) for printer in printers]


@dataclass(frozen=True)
class _Standing:
    """The part of a card that says how the printer stands."""

    mark: tuple[str, str, str]
    text: str
    left_s: float | None = None
    url: str = ""
    action: str = ""
    is_due: bool = False


def _card(printer: Printer, run: Run | None, plate: Plate | None, now: datetime) -> PrinterCard:
    outages = (each for each in printer.outages.all() if each.since <= now and (each.until is None or each.until > now))
    outage = next(outages, None)
    if run:
        standing = _of_run(run, now)
    elif outage:
        standing = _of_outage(outage, now)
    elif plate and plate.setup_at:
        standing = _of_next(plate, plate.setup_at, now)
    else:
        standing = _Standing(("plain", "s-wait", _("free")), _("nothing planned"))
    return PrinterCard(
        printer=printer,
        run=run,
        outage=outage,
        spool=getattr(printer, "spool", None),
        mark=standing.mark,
        left_s=standing.left_s,
        text=standing.text,
        url=standing.url,
        action=standing.action,
        is_due=standing.is_due,
    )


def _of_outage(outage: Outage, now: datetime) -> _Standing:
    until = _("until %(when)s") % {"when": day_clock(outage.until)} if outage.until else _("until further notice")
    return _Standing(
        mark=("bad", "s-out", _("out of service")),
        text=f"{outage.reason}, {until}",
        left_s=(outage.until - now).total_seconds() if outage.until else None,
    )


def _of_next(plate: Plate, setup_at: datetime, now: datetime) -> _Standing:
    when = clock(setup_at) if setup_at - now < timedelta(hours=12) else day_clock(setup_at)
    return _Standing(
        mark=("plain", "s-wait", _("free")),
        text=_("next %(plate)s, %(when)s") % {"plate": plate, "when": when},
        url=reverse("printing:plate-detail", args=[plate.pk]),
        action=_("Start %(plate)s") % {"plate": plate},
        is_due=now >= setup_at - SOON,
    )


def _of_run(run: Run, now: datetime) -> _Standing:
    url = reverse("printing:run-detail", args=[run.pk])
    left_s = (run.expected_end_at - now).total_seconds()
    if left_s > 0:
        mark = ("live", "s-run", _("printing %(plate)s") % {"plate": run.plate})
        ends = _("ends %(when)s") % {"when": clock(run.expected_end_at)}
        return _Standing(mark, ends, left_s, url, _("Open"))
    ready = cool_at(run)
    cool = now >= ready
    words = _("bed should be cool since %(when)s") if cool else _("let it cool until %(when)s")
    return _Standing(
        mark=("good", "s-done", _("should be finished, %(plate)s") % {"plate": run.plate}),
        text=words % {"when": clock(ready)},
        url=url,
        action=_("Clear") if cool else _("Open"),
        is_due=cool,
    )


def next_words(todos: list[Todo], now: datetime) -> str:
    """The strip's cell: what comes next, and when."""
    if not todos:
        return _("nothing planned")
    first = todos[0]
    return _("now") if first.due else _("in %(time)s") % {"time": hours_and_minutes((first.at - now).total_seconds())}


def turns_left(todos: list[Todo], now: datetime) -> str:
    """How many starts and clears are still to do today, in the school's time."""
    today = timezone.localdate(now)
    count = sum(timezone.localdate(todo.at) <= today for todo in todos)
    return ngettext("%(count)d turn", "%(count)d turns", count) % {"count": count}
