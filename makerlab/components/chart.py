"""A chart of points over two axes as plain geometry; ``parts/chart.html`` draws it with classes only.

Ticks at 1, 2 or 5 times a power of ten (P. Heckbert, "Nice numbers for graph labels", Graphics Gems, 1990). Every
series has a colour and a shape or dash of its own; the page puts a table of the numbers beside the chart.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from django.utils.formats import number_format

WIDTH, HEIGHT = 580.0, 380.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 20.0, 40.0, 64.0
CAP = 7.0  # half the width of an error bar's end
LABEL_AWAY, LABEL_RADIUS = 15.0, 9.0
TONES = 8  # series-1 to series-8


class Marker(StrEnum):
    """The shape of a point. FAINT is a small ring for points that stand behind."""

    CIRCLE = "circle"
    SQUARE = "square"
    DIAMOND = "diamond"
    TRIANGLE = "triangle"
    DOWN = "down"
    CROSS = "cross"
    PLUS = "plus"
    BAR = "bar"
    FAINT = "faint"


MARKERS = tuple(Marker)[:TONES]
_SHAPES = {
    Marker.CIRCLE: "M{x} {y}m-5.5 0a5.5 5.5 0 1 0 11 0a5.5 5.5 0 1 0 -11 0z",
    Marker.SQUARE: "M{x} {y}m-5.5 -5.5h11v11h-11z",
    Marker.DIAMOND: "M{x} {y}m0 -7.5l7.5 7.5l-7.5 7.5l-7.5 -7.5z",
    Marker.TRIANGLE: "M{x} {y}m0 -7l6.5 11.5h-13z",
    Marker.DOWN: "M{x} {y}m0 7l6.5 -11.5h-13z",
    Marker.CROSS: "M{x} {y}m-5.5 -5.5l11 11m0 -11l-11 11",
    Marker.PLUS: "M{x} {y}m-6.5 0h13m-6.5 -6.5v13",
    Marker.BAR: "M{x} {y}m-7 -2.5h14v5h-14z",
    Marker.FAINT: "M{x} {y}m-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0z",
}
DASHES = {"solid": "", "dashed": "8 5", "dotted": "2 5"}


@dataclass(frozen=True)
class Dot:
    """One point in data units; ``low`` and ``high`` are the ends of its error bar, ``words`` its accessible name."""

    x: float
    y: float
    low: float | None = None
    high: float | None = None
    words: str = ""


@dataclass(frozen=True)
class Series:
    """Points of one kind. ``tone`` 1 to 8; ``hollow``: outlined only, for what is not measured."""

    name: str
    dots: Sequence[Dot]
    tone: int
    marker: Marker = Marker.CIRCLE
    hollow: bool = False


@dataclass(frozen=True)
class Curve:
    """A line through data points; ``dash`` is solid, dashed or dotted."""

    name: str
    points: Sequence[tuple[float, float]]
    tone: int
    dash: str = "solid"


@dataclass(frozen=True)
class Band:
    """Between a low and a high value at each x."""

    name: str
    points: Sequence[tuple[float, float, float]]
    tone: int


@dataclass(frozen=True)
class Label:
    """A short text in a ring beside a data point."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class AxisOf:
    """What an axis shows. ``from_zero``: the axis begins at 0, where a part of the whole is compared; ``unnumbered``:
    its steps are left to whoever draws on it."""

    name: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    from_zero: bool = False
    unnumbered: bool = False

    @property
    def title(self) -> str:
        return f"{self.name}, {self.unit}" if self.unit else self.name


@dataclass(frozen=True)
class Chart:
    """What is drawn. ``description`` says in a sentence what can be seen; ``squares``: graph paper behind it."""

    title: str
    description: str
    x: AxisOf
    y: AxisOf
    series: Sequence[Series] = ()
    curves: Sequence[Curve] = ()
    bands: Sequence[Band] = ()
    squares: bool = False
    labels: Sequence[Label] = ()

    def drawn(self) -> DrawnChart:
        return draw(self)


@dataclass(frozen=True)
class Scale:
    """From data to px: ``first`` maps to ``start_px``, ``last`` to ``end_px``; ``ticks`` are data values."""

    first: float
    last: float
    start_px: float
    end_px: float
    ticks: tuple[float, ...]
    step: float

    def px(self, value: float) -> float:
        share = (value - self.first) / (self.last - self.first)
        return round(self.start_px + share * (self.end_px - self.start_px), 1)

    def label(self, value: float) -> str:
        """The value with as many decimals as the step between ticks needs."""
        decimals = max(0, -math.floor(math.log10(self.step) + 1e-9))
        return number_format(round(value, decimals) + 0.0, decimals)


@dataclass(frozen=True)
class Tick:
    """A line across the chart and its label."""

    px: float
    label: str


@dataclass(frozen=True)
class DrawnMark:
    """A point's shape, its error bar (empty when it has none) and its words."""

    path: str
    bar: str
    words: str


@dataclass(frozen=True)
class DrawnSeries:
    """One series for the drawing and, with ``sample``, for the legend."""

    name: str
    tone: int
    marks: tuple[DrawnMark, ...]
    css: str
    sample: str
    has_bars: bool


@dataclass(frozen=True)
class DrawnLine:
    """A curve or the outline of a band."""

    name: str
    tone: int
    path: str
    dash: str = ""


@dataclass(frozen=True)
class DrawnLabel:
    """A ring's middle and its text; the ring stands above and to the right of its point, inside the axes."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class DrawnChart:
    """Everything ``parts/chart.html`` needs, in px."""

    title: str
    description: str
    x_title: str
    y_title: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    series: tuple[DrawnSeries, ...]
    curves: tuple[DrawnLine, ...]
    bands: tuple[DrawnLine, ...]
    squares: tuple[str, ...] = ()
    labels: tuple[DrawnLabel, ...] = ()
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    top: float = TOP
    right: float = WIDTH - RIGHT
    floor: float = HEIGHT - BOTTOM
    middle: float = field(default=(LEFT + WIDTH - RIGHT) / 2)


def ticks_between(low: float, high: float, most: int = 7) -> tuple[tuple[float, ...], float]:
    """Round values that cover low to high, and their step. ValueError unless low < high and both are finite."""
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ValueError(f"an axis cannot run from {low} to {high}")
    raw = (high - low) / max(1, most - 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return tuple(round(number * step, 12) for number in range(first, last + 1)), step


def scale_for(values: Iterable[float], axis: AxisOf, start_px: float, end_px: float) -> Scale:
    """A scale that holds all values and what the axis asks for; a single value gets room on both sides."""
    found = [value for value in values if math.isfinite(value)]
    found += [value for value in (axis.low, axis.high) if value is not None]
    if axis.from_zero or not found:
        found.append(0.0)
    low, high = min(found), max(found)
    if high - low <= 1e-9 * max(abs(low), abs(high), 1.0):  # no axis is finer than that
        room = 0.1 * max(abs(low), abs(high))
        low, high = (low - room, high + room) if room > 1e-9 else (0.0, 1.0)
    ticks, step = ticks_between(low, high)
    return Scale(ticks[0], ticks[-1], start_px, end_px, ticks, step)


def draw(chart: Chart) -> DrawnChart:
    """The chart in px."""
    dots = [dot for series in chart.series for dot in series.dots]
    line = [point for curve in chart.curves for point in curve.points]
    edges = [point for band in chart.bands for point in band.points]
    x = scale_for([dot.x for dot in dots] + [p[0] for p in line] + [p[0] for p in edges], chart.x, LEFT, WIDTH - RIGHT)
    heights = [value for dot in dots for value in (dot.y, dot.low, dot.high) if value is not None]
    heights += [p[1] for p in line] + [value for p in edges for value in p[1:]]
    y = scale_for(heights, chart.y, HEIGHT - BOTTOM, TOP)
    return DrawnChart(
        title=chart.title,
        description=chart.description,
        x_title=chart.x.title,
        y_title=chart.y.title,
        x_ticks=tuple(Tick(x.px(value), x.label(value)) for value in x.ticks),
        y_ticks=tuple(Tick(y.px(value), "" if chart.y.unnumbered else y.label(value)) for value in y.ticks),
        series=tuple(_series(series, x, y) for series in chart.series),
        curves=tuple(
            DrawnLine(curve.name, curve.tone, _path(curve.points, x, y), DASHES[curve.dash]) for curve in chart.curves
        ),
        bands=tuple(DrawnLine(band.name, band.tone, _outline(band, x, y)) for band in chart.bands),
        squares=_squares(x, y) if chart.squares else (),
        labels=tuple(_label(label, x, y) for label in chart.labels),
    )


def _series(series: Series, x: Scale, y: Scale) -> DrawnSeries:
    css = f"s{series.tone}h hollow" if series.hollow else f"s{series.tone}"
    if series.marker in (Marker.CROSS, Marker.PLUS):
        css = f"s{series.tone} bar"
    if series.marker is Marker.FAINT:
        css = "faint"
    marks = tuple(_mark(series, dot, x, y) for dot in series.dots)
    sample = _SHAPES[series.marker].format(x=14, y=9)
    return DrawnSeries(series.name, series.tone, marks, css, sample, any(mark.bar for mark in marks))


def _mark(series: Series, dot: Dot, x: Scale, y: Scale) -> DrawnMark:
    at_x, at_y = x.px(dot.x), y.px(dot.y)
    bar = ""
    if dot.low is not None and dot.high is not None:
        low, high = y.px(dot.low), y.px(dot.high)
        bar = f"M{at_x} {low}V{high}M{at_x - CAP:.1f} {low}h{2 * CAP}M{at_x - CAP:.1f} {high}h{2 * CAP}"
    return DrawnMark(_SHAPES[series.marker].format(x=at_x, y=at_y), bar, dot.words)


def _label(label: Label, x: Scale, y: Scale) -> DrawnLabel:
    """15 px to the side where there is room, and above."""
    at = x.px(label.x)
    side = LABEL_AWAY if at + LABEL_AWAY + LABEL_RADIUS <= WIDTH - RIGHT else -LABEL_AWAY
    return DrawnLabel(round(at + side, 1), round(max(y.px(label.y) - LABEL_AWAY, TOP - LABEL_RADIUS), 1), label.text)


def _path(points: Sequence[tuple[float, float]], x: Scale, y: Scale) -> str:
    return "M" + "L".join(f"{x.px(a)} {y.px(b)}" for a, b in points) if points else ""


def _outline(band: Band, x: Scale, y: Scale) -> str:
    there = [(at, low) for at, low, _ in band.points]
    back = [(at, high) for at, _, high in reversed(band.points)]
    return f"{_path([*there, *back], x, y)}Z" if there else ""


def _squares(x: Scale, y: Scale) -> tuple[str, ...]:
    """Five squares to each step between ticks, as paths of upright and level lines."""
    right, floor = WIDTH - RIGHT, HEIGHT - BOTTOM
    upright = (x.px(x.first + number * x.step / 5) for number in range(round((x.last - x.first) / x.step * 5) + 1))
    level = (y.px(y.first + number * y.step / 5) for number in range(round((y.last - y.first) / y.step * 5) + 1))
    return ("".join(f"M{px} {TOP}V{floor}" for px in upright), "".join(f"M{LEFT} {px}H{right}" for px in level))
