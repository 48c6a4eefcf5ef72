"""The room plan as a drawing: one school day, printers in rows, time from left to right.

Pure geometry: takes values, gives positions in px for the template's SVG attributes. A day is drawn in the school's
time; positions count real minutes, so that the two clock changes of the year need no care.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from printing.hours import Bells

WIDTH, PAD = 576.0, 8.0
WEEK_WIDTH = 208.0  # of a day where a week is drawn
TOP, ROW, BOTTOM = 62.0, 60.0, 30.0
BAR_TOP, BAR_HEIGHT = 9.0, 42.0
ICON, INSET = 24.0, 8.0  # px before a name with its icon, and before a note
FLAG = 16.0  # px of a deadline's flag, before its words
SHORT_INSET = 4.0  # px before a name alone
LETTER, SMALL_NAME, SMALL_LETTER = 8.6, 7.8, 6.2  # px of a letter: of a name, of one alone, of a note; about
LETTERS_LEAST = 3  # of a note, else it is left out
TICK_HOURS = (1, 2, 3, 4, 6)
TICK_LEAST = 80.0  # px from one tick to the next, about
HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Bar:
    """One run, past, present or planned. ``due``: the earliest deadline it serves; ``ready_at``: when it is cleared, if
    that is planned; ``tone`` is the drawing's class."""

    key: str
    row: int
    start: datetime
    end: datetime
    tone: str  # b-done, b-run, b-plan, b-night
    icon: str
    label: str
    note: str
    words: str  # for the accessible name: what, where, when, state
    url: str = ""
    due: datetime | None = None
    ready_at: datetime | None = None

    @property
    def late_s(self) -> float:
        """Seconds past the deadline at which its parts are there; 0 when in time, or done."""
        if self.due is None or self.tone == "b-done":
            return 0.0
        return max(0.0, ((self.ready_at or self.end) - self.due).total_seconds())


@dataclass(frozen=True)
class Out:
    """A printer out of service in that span."""

    row: int
    start: datetime
    end: datetime
    label: str


@dataclass(frozen=True)
class Deadline:
    """A meeting begins."""

    at: datetime
    label: str


@dataclass(frozen=True)
class DrawnBar:
    """A bar's rectangle, the part of it past its deadline, and what is written in it."""

    bar: Bar
    x: float
    y: float
    width: float
    tone: str
    late_x: float | None
    late_width: float
    label: str
    note: str
    icon: str  # empty: no room for it
    late: str

    @property
    def text_x(self) -> float:
        return round(self.x + 24, 1)

    @property
    def note_x(self) -> float:
        return round(self.x + 8, 1)

    @property
    def end_x(self) -> float:
        return round(self.x + self.width - 8, 1)

    @property
    def on_pen(self) -> bool:
        return self.tone == "b-run"


@dataclass(frozen=True)
class Span:
    """An upright stripe: from x, so wide, with words in its middle."""

    x: float
    width: float
    label: str = ""
    y: float = 0.0

    @property
    def middle(self) -> float:
        return round(self.x + self.width / 2, 1)

    @property
    def end(self) -> float:
        return round(self.x + self.width, 1)


@dataclass(frozen=True)
class DayDrawing:
    """Everything the template needs for one day."""

    day: date
    width: float
    height: float
    rows: tuple[float, ...]  # y of the line under each row
    off: tuple[Span, ...]
    periods: tuple[Span, ...]
    ticks: tuple[Span, ...]
    bars: tuple[DrawnBar, ...]
    out: tuple[Span, ...]
    dues: tuple[Span, ...]
    now: Span | None
    holiday: str

    @property
    def floor(self) -> float:
        return self.height - BOTTOM

    @property
    def inner(self) -> float:
        """Where the time axis ends."""
        return self.width - PAD

    @property
    def is_narrow(self) -> bool:
        return self.width < WIDTH


class Scale:
    """Where a moment lies on the drawing. Reckons in UTC: within one zone Python subtracts wall clocks, an hour off on
    the two days of the clock change."""

    def __init__(self, opens: datetime, closes: datetime, width: float = WIDTH) -> None:
        self.opens, self.closes = opens.astimezone(UTC), closes.astimezone(UTC)
        self.width = width
        self.per_second = (width - 2 * PAD) / (self.closes - self.opens).total_seconds()

    def x(self, moment: datetime) -> float:
        """px, kept inside the drawing."""
        inside = min(max(moment.astimezone(UTC), self.opens), self.closes)
        return round(PAD + (inside - self.opens).total_seconds() * self.per_second, 1)

    def span(self, start: datetime, end: datetime, label: str = "", y: float = 0.0) -> Span:
        x = self.x(start)
        return Span(x, round(self.x(end) - x, 1), label, y)

    def shows(self, start: datetime, end: datetime) -> bool:
        return start < self.closes and end > self.opens


def at(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The moment of a wall-clock time of that day, in UTC."""
    return datetime.combine(day, clock, zone).astimezone(UTC)


def day_scale(day: date, bells: Bells, bars: Iterable[Bar], width: float = WIDTH) -> Scale:
    """From the full hour before the first to the full hour after the last staffed minute or run of the day."""
    zone = bells.zone
    midnight, next_midnight = at(day, time(0), zone), at(day + timedelta(days=1), time(0), zone)
    moments = [
        moment for part in bells.staffed_on(day) for moment in (at(day, part.start, zone), at(day, part.end, zone))
    ]
    for bar in bars:
        if bar.start < next_midnight and bar.end > midnight:
            moments += [max(bar.start, midnight), min(bar.end, next_midnight)]
    if not moments:
        moments = [at(day, time(8), zone), at(day, time(16), zone)]
    moments = [moment.astimezone(UTC) for moment in moments]
    first, last = full_hour(min(moments)), full_hour(max(moments))
    if last < max(moments):
        last += HOUR
    return Scale(max(first, midnight), min(last, next_midnight), width)


def full_hour(moment: datetime) -> datetime:
    """The last full hour at or before a moment."""
    return moment.replace(minute=0, second=0, microsecond=0)


def draw_day(
    day: date,
    bells: Bells,
    rows: int,
    bars: Sequence[Bar],
    out: Sequence[Out] = (),
    deadlines: Sequence[Deadline] = (),
    now: datetime | None = None,
    width: float = WIDTH,
) -> DayDrawing:
    """One day of the room. ``rows`` is the number of printers; bars and outages name theirs by index."""
    scale = day_scale(day, bells, bars, width)
    return DayDrawing(
        day=day,
        width=width,
        height=TOP + ROW * rows + BOTTOM,
        rows=tuple(TOP + ROW * (row + 1) for row in range(rows)),
        off=tuple(_off(day, bells, scale)),
        periods=tuple(
            scale.span(at(day, each.starts_at, bells.zone), at(day, each.ends_at, bells.zone), short(each.name))
            for each in bells.periods_on(day)
        ),
        ticks=tuple(_ticks(scale, bells.zone)),
        bars=tuple(_drawn(bar, scale) for bar in bars if scale.shows(bar.start, bar.end)),
        out=tuple(
            scale.span(each.start, each.end, each.label, TOP + ROW * each.row + BAR_TOP)
            for each in out
            if scale.shows(each.start, each.end)
        ),
        dues=tuple(
            scale.span(each.at, each.at, cut(each.label, width - scale.x(each.at) - FLAG))
            for each in deadlines
            if scale.opens <= each.at <= scale.closes
        ),
        now=scale.span(now, now, f"{now.astimezone(bells.zone):%H:%M}")
        if now and scale.opens <= now <= scale.closes
        else None,
        holiday=bells.names.get(day, "") if not bells.staffed_on(day) else "",
    )


def short(period: str) -> str:
    """ "Period 3" is written 3 over its column."""
    return period.removeprefix("Period ").strip() or period


def _off(day: date, bells: Bells, scale: Scale) -> Iterable[Span]:
    """When nobody can start or clear."""
    free = scale.opens
    for part in sorted(bells.staffed_on(day), key=lambda part: part.start):
        start, end = at(day, part.start, bells.zone), at(day, part.end, bells.zone)
        if start > free:
            yield scale.span(free, start)
        free = max(free, end)
    if free < scale.closes:
        yield scale.span(free, scale.closes)


def _ticks(scale: Scale, zone: ZoneInfo) -> Iterable[Span]:
    hours = (scale.closes - scale.opens) / HOUR
    most = max(2, int(scale.width / TICK_LEAST) - 1)
    step = next((step for step in TICK_HOURS if hours / step <= most), TICK_HOURS[-1])
    moment = scale.opens
    while moment <= scale.closes:
        local = moment.astimezone(zone)
        if local.hour % step == 0:
            yield scale.span(moment, moment, f"{local:%H:%M}")
        moment += HOUR


def _drawn(bar: Bar, scale: Scale) -> DrawnBar:
    x = scale.x(bar.start)
    width = round(max(2.0, scale.x(bar.end) - x), 1)
    is_late = bar.late_s > 0
    late_x = None
    with_icon = width >= ICON + LETTER * len(bar.label) + SHORT_INSET
    alone = next((name for name in (bar.label, bar.label[1:]) if width >= _narrowest(name)), "")
    late = _hours(bar.late_s) if is_late else ""
    with_late = width >= ICON + LETTER * len(bar.label) + SMALL_NAME * len(late) + 2 * INSET
    if is_late and bar.due is not None and bar.due < min(bar.end, scale.closes):
        late_x = max(x, scale.x(bar.due))
    return DrawnBar(
        bar=bar,
        x=x,
        y=TOP + ROW * bar.row + BAR_TOP,
        width=width,
        tone="b-late" if is_late and bar.tone != "b-run" else bar.tone,
        late_x=late_x,
        late_width=round(x + width - late_x, 1) if late_x is not None else 0.0,
        label=bar.label if with_icon else alone,
        note=cut(bar.note, width - 2 * INSET) if with_icon else "",
        icon=("s-late" if is_late else bar.icon) if with_icon else "",
        late=f"+{late}" if late and with_late else "",
    )


def _narrowest(name: str) -> float:
    """px of a bar with no more than that name in it. A plate's number, without its letter, has room in more of them."""
    return 1.5 * SHORT_INSET + SMALL_NAME * len(name)


def cut(words: str, room: float) -> str:
    """As much of the words as has room in so many px, with an ellipsis where some is left out; empty when hardly any
    has."""
    most = int(room / SMALL_LETTER)
    if len(words) <= most:
        return words
    return f"{words[: most - 1].rstrip()}…" if most > LETTERS_LEAST else ""


def _hours(seconds: float) -> str:
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"


def overlaps(bars: Sequence[Bar]) -> list[tuple[str, str]]:
    """Pairs of bars of one row that share time; empty when the plan is sound."""
    found = []
    for row in {bar.row for bar in bars}:
        ordered = sorted((bar for bar in bars if bar.row == row), key=lambda bar: bar.start)
        found += [(one.key, other.key) for one, other in pairwise(ordered) if other.start < one.end]
    return found
