"""PDF read back by pdfium: the words are there, whatever letters they have, and a chart lies where its numbers say."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest

from makerlab.components.chart import AxisOf, Chart, Dot, Series
from makerlab.paper import A4, LETTER, Document, page_size_for
from makerlab.paper.drawing import path_of
from makerlab.styleguide import CHART


def text_of(pdf: bytes) -> str:
    return "\n".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf))


@pytest.mark.parametrize("name", ["Zoë", "Łukasz", "Çağla", "Nguyễn", "Σοφία", "O’Neill", "3 − 2 ≤ θ √ ²"])
def test_names_keep_their_letters(name: str) -> None:
    document = Document(name, over="class 7B", foot="Alderwick School")
    document.paragraph(f"Hello {name}")
    found = text_of(document.pdf())
    assert found.count(name) == 2


def test_nothing_in_a_text_is_markup() -> None:
    document = Document("<b>title</b> & more")
    document.paragraph('<font size="90">big</font>\nsecond line')
    document.table(["<i>a</i>"], [["</para><b>x"]])
    document.items(["<u>one</u>"], numbered=True)
    document.labelled("a<b", "c>d & e")
    found = text_of(document.pdf())
    for text in ("<b>title</b> & more", '<font size="90">big</font>', "</para><b>x", "<u>one</u>", "a<b", "c>d & e"):
        assert text in found


def test_long_tables_run_over_pages_with_their_head() -> None:
    document = Document("Long")
    document.table(["team", "time"], [[f"team {number}", "2.81"] for number in range(120)])
    pages = pypdfium2.PdfDocument(document.pdf())
    assert len(pages) >= 3
    assert all("team" in page.get_textpage().get_text_range() for page in pages)


def test_the_same_parts_give_the_same_file() -> None:
    def made() -> bytes:
        document = Document("Same")
        document.chart(CHART)
        return document.pdf()

    assert made() == made()


def test_a_point_is_printed_where_its_value_lies() -> None:
    """One big square at the middle of both axes: its ink is centred on the middle of the axes' box."""
    chart = Chart("t", "d", AxisOf("x", low=0, high=10), AxisOf("y", low=0, high=10), [Series("", [Dot(5, 5)], 2)])
    document = Document("Chart", size=A4)
    document.chart(chart, share=1.0)
    page = pypdfium2.PdfDocument(document.pdf())[0]
    pixels = np.asarray(page.render(scale=3).to_pil().convert("RGB")).astype(int)
    orange = (abs(pixels - [0xC2, 0x4F, 0x00]).sum(axis=2) < 40).nonzero()
    ink = (abs(pixels - [0x16, 0x20, 0x33]).sum(axis=2) < 40).nonzero()
    upright = np.bincount(ink[1]).argmax()  # the upright axis is the longest run of ink in a column
    level = np.bincount(ink[0]).argmax()
    scale = document.width / 580 * 3  # px of the picture for one of the chart
    assert orange[1].mean() == pytest.approx(upright + (580 - 20 - 56) / 2 * scale, abs=3)
    assert orange[0].mean() == pytest.approx(level - (380 - 64 - 40) / 2 * scale, abs=3)


def test_paths_that_are_not_ours_are_refused() -> None:
    class Canvas:
        def beginPath(self) -> None:
            return None

    with pytest.raises(ValueError, match="cannot draw"):
        path_of(Canvas(), "M0 0C1 1 2 2 3 3")


def test_paper_follows_the_school() -> None:
    assert page_size_for("America/Chicago") == LETTER
    assert page_size_for("Europe/Madrid") == A4
