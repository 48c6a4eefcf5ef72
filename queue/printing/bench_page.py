"""What the bench shows: what to do next in order of time, and how each printer stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from makerlab.components.figures import clock, day_clock, grams, hours_and_minutes
from makerlab.components.filament import filament_of
from planning.learned import Learned
from printing.actions.undo import UNDO_TIME
from printing.learning import learn
from printing.models import Outage, Plate, Printer, Room, Run, Spool
from printing.outlook import will_it_last
from printing.queries import plates_and_runs, printers_now

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


@dataclass(frozen=True)
class Standing:
    """What a room prints now and next, read once for all that a page tells of it."""

    runs: Sequence[Run]  # printing, the next to end first
    ended: Sequence[Run]  # since the moment asked for, the newest first; ``good_copies`` of each is counted
    plates: Sequence[Plate]  # planned, in order of time
    printers: Sequence[Printer]  # in the order of the room; with ``out_now``, where one is out

    @property
    def spools(self) -> list[Spool]:
        """Those that are loaded."""
        return [spool for printer in self.printers if (spool := getattr(printer, "spool", None)) is not None]


def standing(room: Room, now: datetime, since: datetime) -> Standing:
    """As the room stands now, and what ended ``since`` then; two queries."""
    plates, runs = plates_and_runs(room, since)
    going = sorted((run for run in runs if run.ended_at is None), key=lambda run: run.expected_end_at)
    ended = [(run.ended_at, run) for run in runs if run.ended_at is not None]
    newest_first = [run for _at, run in sorted(ended, key=lambda pair: pair[0], reverse=True)]
    return Standing(going, newest_first, plates, printers_now(room, now))


def just_done(stands: Standing, now: datetime) -> list[Run]:
    """Runs whose start or clearing can still be taken back, the newest first."""
    since = now - UNDO_TIME
    started = [run for run in stands.runs if run.started_at >= since]
    cleared = [run for run in stands.ended if run.before is not None and run.ended_at and run.ended_at >= since]
    return sorted([*started, *cleared], key=lambda run: run.ended_at or run.started_at, reverse=True)


def todo_list(room: Room, now: datetime, stands: Standing, trays: dict[int, list[int]]) -> list[Todo]:
    """Clears of running prints and the next starts, in order of time. ``trays``: of each plate that prints, where its
    copies belong."""
    runs = list(stands.runs)
    clears = [_clear(run, trays.get(run.plate_id, []), now) for run in runs]
    plates = [plate for plate in stands.plates if plate.setup_at and plate.printer]
    spools = {spool.printer_id: spool for spool in stands.spools}
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


def _clear(run: Run, trays: Sequence[int], now: datetime) -> Todo:
    ready = cool_at(run)
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
    need = _("%(filament)s, %(grams)s.") % {
        "filament": capfirst(filament_of(plate)),
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


def printer_cards(stands: Standing, now: datetime) -> list[PrinterCard]:
    """All printers in the order of the room."""
    runs = {run.printer_id: run for run in stands.runs}
    following: dict[int, Plate] = {}
    for plate in stands.plates:
        if plate.printer_id and plate.setup_at:
            following.setdefault(plate.printer_id, plate)
    return [_card(each, runs.get(each.pk), following.get(each.pk), now) for each in stands.printers]


@dataclass(frozen=True)
class _Line:
    """The part of a card that says how the printer stands."""

    mark: tuple[str, str, str]
    text: str
    left_s: float | None = None
    url: str = ""
    action: str = ""
    is_due: bool = False


def _card(printer: Printer, run: Run | None, plate: Plate | None, now: datetime) -> PrinterCard:
    outage: Outage | None = getattr(printer, "out_now", None)  # joined where the printers are read
    if run:
        standing = _of_run(run, now)
    elif outage:
        standing = _of_outage(outage, now)
    elif plate and plate.setup_at:
        standing = _of_next(plate, plate.setup_at, now)
    else:
        standing = _Line(("plain", "s-wait", _("free")), _("nothing planned"))
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


def _of_outage(outage: Outage, now: datetime) -> _Line:
    until = _("until %(when)s") % {"when": day_clock(outage.until)} if outage.until else _("until further notice")
    return _Line(
        mark=("bad", "s-out", _("out of service")),
        text=f"{outage.reason}, {until}",
        left_s=(outage.until - now).total_seconds() if outage.until else None,
    )


def _of_next(plate: Plate, setup_at: datetime, now: datetime) -> _Line:
    when = clock(setup_at) if setup_at - now < timedelta(hours=12) else day_clock(setup_at)
    return _Line(
        mark=("plain", "s-wait", _("free")),
        text=_("next %(plate)s, %(when)s") % {"plate": plate, "when": when},
        url=reverse("printing:plate-detail", args=[plate.pk]),
        action=_("Start %(plate)s") % {"plate": plate},
        is_due=now >= setup_at - SOON,
    )


def _of_run(run: Run, now: datetime) -> _Line:
    url = reverse("printing:run-detail", args=[run.pk])
    left_s = (run.expected_end_at - now).total_seconds()
    if left_s > 0:
        mark = ("live", "s-run", _("printing %(plate)s") % {"plate": run.plate})
        ends = _("ends %(when)s") % {"when": clock(run.expected_end_at)}
        return _Line(mark, ends, left_s, url, _("Open"))
    ready = cool_at(run)
    cool = now >= ready
    words = _("bed should be cool since %(when)s") if cool else _("let it cool until %(when)s")
    return _Line(
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
