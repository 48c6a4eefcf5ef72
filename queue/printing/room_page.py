"""What the room plan page shows: days to choose, bars of the timetable, tables beneath."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.components.figures import clock, hours_and_minutes
from printing import pins, queries, timeline
from printing.hours import Bells
from printing.models import Outage, Plate, PrintCopy, Printer, PrintRequest, Room, RoomPlan, Run
from printing.plan_trouble import late_kits, unplaced_copies
from printing.reasons import overload_words, words
from printing.room_days import FARTHEST, WEEK, View, Window, window_of
from printing.room_read import RoomRead
from printing.states import Outcome

TONES = {
    Outcome.RUNNING: ("b-run", "s-run"),
    Outcome.FINISHED: ("b-done", "s-done"),
    Outcome.PARTLY_GOOD: ("b-done", "s-part"),
    Outcome.FAILED: ("b-done", "s-fix"),
    Outcome.STOPPED: ("b-done", "s-hold"),
}


@dataclass(frozen=True)
class PlanRow:
    """One line of the table: the same plan in words."""

    plate: Plate
    printer: Printer | None
    parts: str
    starts_at: datetime | None
    ends_at: datetime | None
    mark: tuple[str, str, str]
    because: str = ""


@dataclass(frozen=True)
class RoomPage:
    """Everything on the page but the state of the planning itself."""

    window: Window
    days: tuple[timeline.DayDrawing, ...]
    printers: tuple[Printer, ...]
    plates: tuple[Plate, ...]  # those planned
    rows: tuple[PlanRow, ...]
    late: tuple[dict[str, Any], ...]
    loads: tuple[dict[str, Any], ...]
    unplaced: tuple[dict[str, Any], ...]
    counts: dict[str, int]
    overload: tuple[str, ...] = ()
    clashes: tuple[str, ...] = ()
    elsewhere: int = 0  # rows of other weeks, which the week's table leaves out


def room_page(
    room: Room,
    user: User,
    plan: RoomPlan | None,
    read: RoomRead,
    day: date | None,
    now: datetime,
    view: View = View.DAY,
) -> RoomPage:
    """The page for one person: bars of every class, names of those the person may see."""
    bells = read.bells
    printers = list(Printer.objects.filter(room=room).select_related("kind", "spool"))
    plates, runs = queries.plates_and_runs(room, _since(room, now, day))
    serves = contents(user, [*plates, *(run.plate for run in runs)])
    moments = [*(plate.setup_at for plate in plates), *(run.started_at for run in runs)]
    window = window_of(bells, moments, day, view, now)
    bars = _bars(printers, plates, runs, serves, bells, now)
    facts = plan.facts if plan else {}
    deadlines = _deadlines(read)
    width = timeline.WEEK_WIDTH if window.is_week else timeline.WIDTH
    all_rows = list(_rows(plates, runs, serves, window.is_week))
    rows = [row for row in all_rows if _in_window(row, window, room)] if window.is_week else all_rows
    drawings = tuple(
        timeline.draw_day(each, bells, len(printers), bars, _outs(printers, read.outages, now), deadlines, now, width)
        for each in window.days
    )
    return RoomPage(
        window=window,
        days=drawings,
        printers=tuple(printers),
        plates=tuple(plates),
        rows=tuple(rows),
        elsewhere=len(all_rows) - len(rows),
        late=tuple(late_kits(plan, read.late_teams)),
        loads=tuple(_loads(facts, printers)),
        unplaced=tuple(unplaced_copies(plan, read.unplaced)),
        overload=tuple(overload_words(load) for load in facts.get("overload", [])),
        clashes=tuple(words(clash) for clash in facts.get("clashes", [])),
        counts={
            "plates": len(plates),
            "printing": sum(run.outcome == Outcome.RUNNING for run in runs),
            "done": sum(run.outcome != Outcome.RUNNING for run in runs),
        },
    )


@dataclass(frozen=True)
class Contents:
    """What stands on a plate: in words, and by when it is needed."""

    words: str
    due: datetime | None


def contents(user: User, plates: Sequence[Plate]) -> dict[int, Contents]:
    """Plate id -> its copies as "7B ×6". Classes the person may not see are counted without a name."""
    visible = PrintRequest.objects.visible_to(user).filter(pk=OuterRef("request_id"))
    copies = (
        PrintCopy.objects.filter(plate__in=[plate.pk for plate in plates])
        .annotate(may_name=Exists(visible))
        .select_related("request__assignment__school_class", "request__assignment__meeting")
        .only(
            "plate_id",
            "state",
            "request__team_id",
            "request__assignment__school_class__name",
            "request__assignment__meeting__starts_at",
        )
    )
    names: dict[int, Counter[str]] = {}
    dues: dict[int, list[datetime]] = {}
    for copy in copies:
        assignment = copy.request.assignment
        name = assignment.school_class.name if copy.may_name else _("another class")
        names.setdefault(copy.plate_id or 0, Counter())[name] += 1
        if copy.request.team_id is not None:
            dues.setdefault(copy.plate_id or 0, []).append(assignment.meeting.starts_at)
    return {
        plate.pk: Contents(
            ", ".join(f"{name} ×{count}" for name, count in sorted(names.get(plate.pk, Counter()).items())),
            min(dues.get(plate.pk, []), default=None),
        )
        for plate in plates
    }


def _since(room: Room, now: datetime, day: date | None) -> datetime:
    """What ended in the last two weeks is shown, or since the week before the day asked for."""
    since = now - timedelta(days=14)
    if day is not None and now - FARTHEST <= (asked := midnight(room, day - WEEK)) < since:
        return asked
    return since


def midnight(room: Room, day: date) -> datetime:
    """The beginning of a day in the school's time."""
    return datetime.combine(day, time(0), ZoneInfo(room.school.time_zone))


def _bars(
    printers: Sequence[Printer],
    plates: Sequence[Plate],
    runs: Sequence[Run],
    serves: dict[int, Contents],
    bells: Bells,
    now: datetime,
) -> list[timeline.Bar]:
    row_of = {printer.pk: row for row, printer in enumerate(printers)}
    bars = []
    for run in runs:
        tone, icon = TONES[Outcome(run.outcome)]
        end = run.ended_at or max(run.expected_end_at, now)
        bars.append(
            _bar(run.plate, row_of[run.printer_id], run.started_at, end, tone, icon, Outcome(run.outcome).label, serves)
        )
    for plate in plates:
        if plate.printer_id in row_of and plate.starts_at and plate.ends_at:
            night = _is_unattended(bells, plate.starts_at, plate.ends_at)
            words = _("planned, runs unattended") if night else _("planned")
            tone = "b-night" if night else "b-plan"
            row = row_of[plate.printer_id]
            icon = "s-pin" if plate.is_pinned else "s-plan"
            words = _("%(planned)s, fixed") % {"planned": words} if plate.is_pinned else words
            bar = _bar(plate, row, plate.starts_at, plate.ends_at, tone, icon, words, serves)
            bars.append(replace(bar, ready_at=plate.cleared_at))
    return [_with_lateness(bar) for bar in bars]


def _with_lateness(bar: timeline.Bar) -> timeline.Bar:
    """Its lateness in words too, for who hears the drawing."""
    if bar.late_s <= 0:
        return bar
    late = _("late by %(time)s") % {"time": hours_and_minutes(bar.late_s)}
    return replace(bar, words=f"{bar.words}, {late}")


def _bar(
    plate: Plate,
    row: int,
    start: datetime,
    end: datetime,
    tone: str,
    icon: str,
    state: Any,
    serves: dict[int, Contents],
) -> timeline.Bar:
    inside = serves.get(plate.pk, Contents("", None))
    return timeline.Bar(
        key=str(plate),
        row=row,
        start=start,
        end=end,
        tone=tone,
        icon=icon,
        label=str(plate),
        note=inside.words,
        words=f"{plate}, {state}, {clock(start)} – {clock(end)}",
        url=reverse("printing:plate-detail", args=[plate.pk]),
        due=inside.due,
    )


def _is_unattended(bells: Bells, start: datetime, end: datetime) -> bool:
    """Whether it still prints when the staffed day is over."""
    day = start.astimezone(bells.zone).date()
    staffed = bells.staffed_on(day)
    return not staffed or end > timeline.at(day, max(part.end for part in staffed), bells.zone)


def _outs(printers: Sequence[Printer], outages: dict[int, list[Outage]], now: datetime) -> list[timeline.Out]:
    return [
        timeline.Out(row, outage.since, outage.until or now + timedelta(days=400), outage.reason)
        for row, printer in enumerate(printers)
        for outage in outages.get(printer.pk, [])
    ]


def _deadlines(read: RoomRead) -> list[timeline.Deadline]:
    """Meetings of the person's classes for which something is ordered in this room."""
    meetings = {given.meeting_id: given for given in read.given.values()}
    return [
        timeline.Deadline(given.starts_at, _("%(class)s lab day") % {"class": given.school_class})
        for given in meetings.values()
    ]


def _in_window(row: PlanRow, window: Window, room: Room) -> bool:
    """Whether it prints in the week drawn; a plate without a time stands in every week, so that nobody misses it."""
    if row.starts_at is None or row.ends_at is None:
        return True
    after = midnight(room, window.monday + WEEK)
    return row.starts_at < after and row.ends_at > midnight(room, window.monday)


def _rows(
    plates: Sequence[Plate], runs: Sequence[Run], serves: dict[int, Contents], with_ended: bool
) -> Iterable[PlanRow]:
    """``with_ended``: what was printed too."""
    for run in runs:
        if with_ended and run.outcome != Outcome.RUNNING:
            icon, kind = TONES[Outcome(run.outcome)][1], "good" if run.outcome == Outcome.FINISHED else "plain"
            mark = (kind, icon, str(Outcome(run.outcome).label))
            yield PlanRow(run.plate, run.printer, serves[run.plate_id].words, run.started_at, run.ended_at, mark)
        if run.outcome == Outcome.RUNNING:
            mark = ("live", "s-run", _("printing"))
            yield PlanRow(run.plate, run.printer, serves[run.plate_id].words, run.started_at, run.expected_end_at, mark)
    for plate in plates:
        inside = serves[plate.pk]
        late = plate.cleared_at and inside.due and plate.cleared_at > inside.due
        if plate.setup_at is None:
            mark = ("bad", "s-out", _("no place in the plan"))
        elif late and plate.cleared_at and inside.due:
            by = hours_and_minutes((plate.cleared_at - inside.due).total_seconds())
            mark = ("bad", "s-late", _("late by %(time)s") % {"time": by})
        elif plate.is_pinned:
            mark = ("plain", "s-pin", _("planned, fixed %(how)s") % {"how": pins.words(plate)})
        elif plate.held:
            mark = ("plain", "s-hold", _("planned, file taken"))
        else:
            mark = ("plain", "s-plan", _("planned"))
        yield PlanRow(plate, plate.printer, inside.words, plate.starts_at, plate.ends_at, mark, plate.why_unplanned)


def _loads(facts: dict[str, Any], printers: Sequence[Printer]) -> Iterable[dict[str, Any]]:
    names = {printer.pk: printer.name for printer in printers}
    for load in facts.get("loads", []):
        rows = [
            {"name": names[row["printer"]], "percent": row["percent"]}
            for row in load["printers"]
            if row["printer"] in names
        ]
        over = load["staff_percent"] > 100
        yield {
            "day": date.fromisoformat(load["day"]),
            "staff_percent": load["staff_percent"],
            "staff_width": min(100, load["staff_percent"]),
            "staff_min": load["staff_min"],
            "staff_there_min": load["staff_there_min"],
            "turns": load["turns"],
            "over": over,
            "printers": rows,
            "mean_percent": round(sum(row["percent"] for row in rows) / len(rows)) if rows else 0,
        }
