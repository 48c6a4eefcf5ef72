"""A chart drawn on paper from the same geometry as on the page."""

from __future__ import annotations

import re
from typing import Any

from reportlab.lib import colors
from reportlab.platypus import Flowable

from makerlab.components.chart import DrawnChart, DrawnSeries

# as in tokens.css: fills of Okabe and Ito, outlines and lines deepened where those are too faint on white
FILLS = tuple(
    colors.HexColor(tone)
    for tone in ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#f0e442", "#56b4e9", "#e69f00", "#000000")
)
SERIES = tuple(
    colors.HexColor(tone)
    for tone in ("#0072b2", "#d55e00", "#008f68", "#b95f90", "#857c00", "#1d94d8", "#b57d00", "#000000")
)
INK, SOFT, RULE, SHEET = (colors.HexColor(tone) for tone in ("#162033", "#485366", "#cdd5bf", "#ffffff"))
_TOKENS = re.compile(r"[MLHVZmlhvaz]|-?\d+(?:\.\d+)?")
_QUARTER = 0.5522847498  # control points of a quarter circle as a Bezier curve
LEGEND_ROW, LEGEND_COLUMNS = 16.0, 2


class ChartDrawing(Flowable):  # type: ignore[misc]
    """A chart ``width`` points wide with its legend beneath."""

    def __init__(self, drawn: DrawnChart, width: float) -> None:
        super().__init__()
        self.drawn, self.width = drawn, width
        self.scale = width / drawn.width
        self.entries = self._legend()
        rows = -(-len(self.entries) // LEGEND_COLUMNS)
        self.height = self.scale * drawn.height + rows * LEGEND_ROW

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def _legend(self) -> list[tuple[str, str, Any]]:
        entries: list[tuple[str, str, Any]] = [("series", each.name, each) for each in self.drawn.series if each.name]
        entries += [("curve", each.name, each) for each in self.drawn.curves if each.name]
        return entries + [("band", each.name, each) for each in self.drawn.bands if each.name]

    def draw(self) -> None:
        canvas, drawn = self.canv, self.drawn
        canvas.saveState()
        canvas.translate(0, self.height)
        canvas.scale(self.scale, -self.scale)  # px run downward
        for path in drawn.squares:
            self._stroke(path, RULE, 0.5)
        self._axes()
        for band in drawn.bands:
            canvas.setFillColor(FILLS[band.tone - 1], alpha=0.18)
            canvas.drawPath(path_of(canvas, band.path), stroke=0, fill=1)
        canvas.setFillAlpha(1)
        for curve in drawn.curves:
            self._stroke(curve.path, SERIES[curve.tone - 1], 2, curve.dash)
        for series in drawn.series:
            for mark in series.marks:
                if mark.bar:
                    self._stroke(mark.bar, SERIES[series.tone - 1], 1.5)
                self._mark(series, mark.path)
        canvas.restoreState()
        self._draw_legend()

    def _axes(self) -> None:
        drawn = self.drawn
        for tick in drawn.y_ticks:
            self._stroke(f"M{drawn.left} {tick.px}H{drawn.right}", RULE, 0.8)
            self._text(drawn.left - 8, tick.px + 4, tick.label, SOFT, "end")
        for tick in drawn.x_ticks:
            self._stroke(f"M{tick.px} {drawn.top}V{drawn.floor}", RULE, 0.8)
            self._text(tick.px, drawn.floor + 20, tick.label, SOFT, "middle")
        self._stroke(f"M{drawn.left} {drawn.top}V{drawn.floor}H{drawn.right}", INK, 1.25)
        self._text(drawn.middle, drawn.floor + 48, drawn.x_title, INK, "middle", "Sheet-Bold")
        self._text(4, 20, drawn.y_title, INK, "start", "Sheet-Bold")

    def _stroke(self, path: str, colour: Any, width: float, dash: str = "") -> None:
        canvas = self.canv
        canvas.setStrokeColor(colour)
        canvas.setLineWidth(width)
        canvas.setDash([float(part) for part in dash.split()] if dash else [])
        canvas.drawPath(path_of(canvas, path), stroke=1, fill=0)
        canvas.setDash([])

    def _mark(self, series: DrawnSeries, path: str) -> None:
        canvas = self.canv
        colour = SOFT if series.css == "faint" else SERIES[series.tone - 1]
        filled = "hollow" not in series.css and "bar" not in series.css and series.css != "faint"
        canvas.setStrokeColor(colour)
        canvas.setFillColor(FILLS[series.tone - 1] if filled else SHEET)
        canvas.setLineWidth(1.5)
        open_shape = "bar" in series.css
        canvas.drawPath(path_of(canvas, path), stroke=1, fill=0 if open_shape else 1)

    def _text(self, x: float, y: float, text: str, colour: Any, anchor: str, font: str = "Sheet") -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.translate(x, y)
        canvas.scale(1, -1)
        canvas.setFont(font, 12)
        canvas.setFillColor(colour)
        draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}[anchor]
        draw(0, 0, text)
        canvas.restoreState()

    def _draw_legend(self) -> None:
        canvas = self.canv
        top = self.height - self.scale * self.drawn.height
        column = self.width / LEGEND_COLUMNS
        for number, (kind, name, what) in enumerate(self.entries):
            canvas.saveState()
            canvas.translate(column * (number % LEGEND_COLUMNS), top - LEGEND_ROW * (number // LEGEND_COLUMNS))
            canvas.scale(0.8, -0.8)
            if kind == "series":
                self._mark(what, what.sample)
            elif kind == "curve":
                self._stroke("M1 13L27 5", SERIES[what.tone - 1], 2, what.dash)
            else:
                canvas.setFillColor(FILLS[what.tone - 1], alpha=0.18)
                canvas.drawPath(path_of(canvas, "M1 3H27V15H1Z"), stroke=0, fill=1)
                canvas.setFillAlpha(1)
            self._text(36, 13, name, INK, "start")
            canvas.restoreState()


def path_of(canvas: Any, text: str) -> Any:
    """The path of SVG path data with the commands M m L l H h V v Z z and a (half circles) as a reportlab path.

    ValueError for any other command (W3C, SVG 2, section 9.3 names them).
    """
    tokens = _TOKENS.findall(text)
    if "".join(tokens) != re.sub(r"[\s,]+", "", text):
        raise ValueError(f"cannot draw {text[:40]!r}")
    path = canvas.beginPath()
    x = y = begin_x = begin_y = 0.0
    command, place = "", 0

    def take() -> float:
        nonlocal place
        place += 1
        return float(tokens[place - 1])

    while place < len(tokens):
        if tokens[place].isalpha():
            command = tokens[place]
            place += 1
        if command in "Zz":
            path.close()
            x, y = begin_x, begin_y
            continue
        if command in "Mm":
            x, y = (x + take(), y + take()) if command == "m" else (take(), take())
            path.moveTo(x, y)
            begin_x, begin_y = x, y
            command = "l" if command == "m" else "L"
        elif command == "a":
            radius, _ry, _turn, _large, _sweep, dx, _dy = (take() for _ in range(7))
            _half_circle(path, x, y, radius, dx)
            x += dx
        else:
            x, y = _line_to(command, x, y, take)
            path.lineTo(x, y)
    return path


def _line_to(command: str, x: float, y: float, take: Any) -> tuple[float, float]:
    if command in "Ll":
        a, b = take(), take()
        return (x + a, y + b) if command == "l" else (a, b)
    if command in "Hh":
        a = take()
        return (x + a if command == "h" else a), y
    b = take()
    return x, (y + b if command == "v" else b)


def _half_circle(path: Any, x: float, y: float, radius: float, dx: float) -> None:
    """From (x, y) to (x + dx, y) over a half circle, below for dx > 0, above for dx < 0."""
    way = 1 if dx > 0 else -1
    control = _QUARTER * radius
    top = y + way * radius
    middle = x + way * radius
    path.curveTo(x, y + way * control, middle - way * control, top, middle, top)
    path.curveTo(middle + way * control, top, x + dx, y + way * control, x + dx, y)
