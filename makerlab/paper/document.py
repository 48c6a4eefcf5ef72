"""A document of headings, paragraphs, lists, tables and charts, set by reportlab in one typeface."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import font_source_sans_pro
from reportlab.lib import colors, pagesizes
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    CondPageBreak,
    Image,
    KeepTogether,
    ListFlowable,
    ListItem,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from makerlab.components.chart import Chart
from makerlab.paper.drawing import ChartDrawing

A4, LETTER = pagesizes.A4, pagesizes.LETTER
INK, SOFT, RULE = colors.HexColor("#162033"), colors.HexColor("#485366"), colors.HexColor("#cdd5bf")
CARE, WASH = colors.HexColor("#7d5200"), colors.HexColor("#fbf1d6")
_FACES = {"Sheet": "Regular", "Sheet-Bold": "Bold", "Sheet-Italic": "It", "Sheet-BoldItalic": "BoldIt"}
MARGIN = 18 * mm
PADDING = 6  # points a frame keeps free inside the margins
HEADING_NEEDS = 64  # points: a heading begins no page's last lines without what it is over
PICTURES_IN_A_ROW = 4


@cache
def _register() -> None:
    files = Path(font_source_sans_pro.__file__).parent / "files"
    for name, face in _FACES.items():
        pdfmetrics.registerFont(TTFont(name, str(files / f"SourceSansPro-{face}.ttf")))
    pdfmetrics.registerFontFamily(
        "Sheet", normal="Sheet", bold="Sheet-Bold", italic="Sheet-Italic", boldItalic="Sheet-BoldItalic"
    )


def _style(name: str, **values: Any) -> ParagraphStyle:
    plain = {"fontName": "Sheet", "fontSize": 10, "leading": 13.5, "textColor": INK, "spaceAfter": 4}
    return ParagraphStyle(name, **{**plain, **values})


BODY = _style("body")
SMALL = _style("small", fontSize=8.5, leading=11, textColor=SOFT)
OVER = _style("over", fontSize=10, textColor=SOFT, spaceAfter=2)
TITLE = _style("title", fontName="Sheet-Bold", fontSize=22, leading=26, spaceAfter=8)
HEADING = _style("heading", fontName="Sheet-Bold", fontSize=13, leading=16, spaceBefore=10, keepWithNext=1)
CELL = _style("cell", fontSize=9.5, leading=12, spaceAfter=0)
HEAD = _style("head", fontName="Sheet-Bold", fontSize=9, leading=11, spaceAfter=0)


def page_size_for(time_zone: str) -> tuple[float, float]:
    """Letter where it is usual (the Americas), else A4; width and height in points."""
    size: tuple[float, float] = LETTER if time_zone.startswith(("America/", "US/", "Canada/")) else A4
    return size


class Document:
    """Collects parts in order; ``pdf`` sets them. Text is plain text: nothing in it is markup."""

    def __init__(self, title: str, over: str = "", foot: str = "", size: tuple[float, float] = A4) -> None:
        _register()
        self.title, self.foot, self.size = title, foot, size
        self.parts: list[Any] = [Paragraph(escape(over), OVER)] if over else []
        self.parts.append(Paragraph(escape(title), TITLE))

    def heading(self, text: str) -> None:
        self.parts += [CondPageBreak(HEADING_NEEDS), Paragraph(escape(text), HEADING)]

    def paragraph(self, text: str, small: bool = False) -> None:
        """Line breaks in the text stay."""
        self.parts.append(Paragraph(escape(text).replace("\n", "<br/>"), SMALL if small else BODY))

    def labelled(self, label: str, text: str) -> None:
        """A paragraph that begins with a bold word."""
        self.parts.append(Paragraph(f"<b>{escape(label)}</b> {escape(text)}".replace("\n", "<br/>"), BODY))

    def items(self, texts: Iterable[str], numbered: bool = False) -> None:
        rows = [ListItem(Paragraph(escape(text).replace("\n", "<br/>"), BODY)) for text in texts]
        if rows:
            kind = {"bulletType": "1"} if numbered else {"bulletType": "bullet", "start": "•"}
            self.parts.append(
                ListFlowable(rows, leftIndent=14, bulletFontName="Sheet", bulletFontSize=9, bulletColor=SOFT, **kind)
            )

    def table(
        self,
        head: Sequence[str],
        rows: Sequence[Sequence[str]],
        row_height: float | None = None,
        shares: Sequence[float] | None = None,
    ) -> None:
        """A table over the whole width; ``row_height`` in mm leaves room to write by hand; ``shares`` are the columns'
        parts of the width, equal by default."""
        if not rows:
            return
        cells = [[Paragraph(escape(text), HEAD) for text in head]] if head else []
        cells += [[Paragraph(escape(text).replace("\n", "<br/>"), CELL) for text in row] for row in rows]
        count = max(len(row) for row in cells)
        parts = list(shares) if shares and len(shares) == count else [1.0] * count
        heights = [None] * bool(head) + [row_height * mm if row_height else None] * len(rows)
        table = Table(
            cells,
            colWidths=[self.width * part / sum(parts) for part in parts],
            rowHeights=heights,
            repeatRows=1 if head else 0,
            splitInRow=1,  # a row may be taller than a page
            hAlign="LEFT",
        )
        style = [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.5, RULE),
            ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("RIGHTPADDING", (0, 0), (-1, -1), 6),
        ]
        if head:
            style.append(("LINEBELOW", (0, 0), (-1, 0), 1, INK))
        if row_height:
            style.append(("INNERGRID", (0, 0), (-1, -1), 0.5, RULE))
        table.setStyle(TableStyle(style))
        self.parts += [table, Spacer(1, 6)]

    def caution(self, title: str, texts: Iterable[str]) -> None:
        """A box with a bar at its side: what to read before something that can hurt. Stays on one page where it can,
        and with a heading right above it."""
        rows = [Paragraph(f"<b>{escape(title)}</b>", CELL)]
        rows += [Paragraph(f"• {escape(text)}", CELL) for text in texts]
        box = Table([[row] for row in rows], colWidths=[self.width], hAlign="LEFT", splitInRow=1)
        style = [("BACKGROUND", (0, 0), (-1, -1), WASH), ("LINEBEFORE", (0, 0), (0, -1), 3, CARE)]
        style += [("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]
        box.setStyle(TableStyle(style))
        above = [self.parts.pop()] if getattr(self.parts[-1], "style", None) is HEADING else []
        self.parts += [KeepTogether([*above, box]), Spacer(1, 6)]

    def pictures(self, rows: Sequence[tuple[bytes, str]]) -> None:
        """PNG pictures side by side, each with its caption under it. One that cannot be read is left out: the sheet
        matters more."""
        wide = self.width / PICTURES_IN_A_ROW
        cells = []
        for png, caption in rows:
            try:
                image = Image(io.BytesIO(png))
                shrink = (wide - 2 * PADDING) / image.imageWidth
            except OSError:
                continue
            image.drawWidth, image.drawHeight = image.imageWidth * shrink, image.imageHeight * shrink
            cells.append([image, Paragraph(escape(caption), CELL)])
        for first in range(0, len(cells), PICTURES_IN_A_ROW):
            row: list[Any] = cells[first : first + PICTURES_IN_A_ROW]
            row += [""] * (PICTURES_IN_A_ROW - len(row))
            table = Table([row], colWidths=[wide] * PICTURES_IN_A_ROW, hAlign="LEFT")
            table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 3)]))
            self.parts += [KeepTogether([table]), Spacer(1, 6)]

    def chart(self, spec: Chart, share: float = 0.8) -> None:
        """A chart with its title and legend; ``share`` of the page's width."""
        drawn = spec.drawn()
        title = Paragraph(escape(drawn.title[:1].upper() + drawn.title[1:]), HEADING)
        self.parts.append(KeepTogether([title, ChartDrawing(drawn, self.width * share), Spacer(1, 6)]))

    @contextmanager
    def together(self) -> Iterator[None]:
        """What is added meanwhile stays on one page where it can."""
        before, self.parts = self.parts, []
        yield
        added = [part for part in self.parts if not isinstance(part, CondPageBreak)]
        self.parts = [*before, KeepTogether(added)]

    @property
    def width(self) -> float:
        """Width of the text in points."""
        return float(self.size[0] - 2 * MARGIN - 2 * PADDING)

    def pdf(self) -> bytes:
        """The finished file, the same bytes for the same parts."""
        out = io.BytesIO()
        document = SimpleDocTemplate(
            out,
            pagesize=self.size,
            leftMargin=MARGIN,
            rightMargin=MARGIN,
            topMargin=MARGIN,
            bottomMargin=MARGIN,
            title=self.title,
            author="",
            creator="Makerlab",
            lang="en",
            invariant=1,
        )
        document.build(list(self.parts), onFirstPage=self._foot, onLaterPages=self._foot)
        return out.getvalue()

    def _foot(self, canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont("Sheet", 8)
        canvas.setFillColor(SOFT)
        canvas.drawString(MARGIN + 6, 10 * mm, self.foot)
        canvas.drawRightString(self.size[0] - MARGIN - 6, 10 * mm, str(document.page))
        canvas.restoreState()
