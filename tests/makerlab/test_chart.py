"""The chart's geometry: round ticks, every point inside, and where a value lies, worked out by hand."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from django.conf import settings
from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from makerlab.components.chart import (
    HEIGHT,
    LEFT,
    MARKERS,
    WIDTH,
    AxisOf,
    Band,
    Chart,
    Curve,
    Dot,
    Marker,
    Series,
    draw,
    scale_for,
    ticks_between,
)
from makerlab.paper import drawing

VALUES = st.floats(-1e6, 1e6, allow_nan=False)


def chart_of(*dots: Dot) -> Chart:
    return Chart("t", "d", AxisOf("load", "g"), AxisOf("time", "s"), [Series("team", dots, 1)])


def test_ticks_by_hand() -> None:
    assert ticks_between(0, 200) == ((0.0, 50.0, 100.0, 150.0, 200.0), 50.0)
    assert ticks_between(2.51, 2.93)[0] == (2.5, 2.6, 2.7, 2.8, 2.9, 3.0)
    assert ticks_between(-3, 4)[0] == (-4.0, -2.0, 0.0, 2.0, 4.0)


@given(VALUES, st.floats(1e-6, 1e6))
def test_ticks_cover_and_are_few(low: float, span: float) -> None:
    high = low + span
    if high <= low or span < 1e-9 * abs(low):
        return
    ticks, step = ticks_between(low, high)
    assert ticks[0] <= low + 1e-6 * step
    assert ticks[-1] >= high - 1e-6 * step
    assert 2 <= len(ticks) <= 9
    assert all(b - a == pytest.approx(step, rel=1e-6, abs=1e-9) for a, b in pairwise(ticks))


@pytest.mark.parametrize(("low", "high"), [(1, 1), (2, 1), (float("nan"), 1), (0, float("inf"))])
def test_impossible_axes_are_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="axis"):
        ticks_between(low, high)


def test_a_point_lies_where_a_ruler_would_put_it() -> None:
    """0 to 200 g over 504 px from 56: 50 g is a quarter of the way, 182 px. 2.5 to 3.0 s over 276 px upward from 316:
    2.6 s is a fifth of the way, 260.8 px."""
    drawn = draw(chart_of(Dot(0, 2.5), Dot(200, 3.0), Dot(50, 2.6)))
    assert drawn.series[0].marks[2].path.startswith("M182.0 260.8m")


@given(st.lists(st.tuples(VALUES, VALUES, st.floats(0, 100)), min_size=1, max_size=12))
def test_everything_drawn_is_inside(rows: list[tuple[float, float, float]]) -> None:
    dots = [Dot(x, y, y - bar, y + bar) for x, y, bar in rows]
    drawn = draw(chart_of(*dots))
    for mark in drawn.series[0].marks:
        for x, y in re.findall(r"M(-?[\d.]+) (-?[\d.]+)[mV]", mark.path + mark.bar):
            assert LEFT - 7.5 <= float(x) <= WIDTH
            assert 0 <= float(y) <= HEIGHT


def test_one_value_and_none_still_have_an_axis() -> None:
    one = scale_for([2.7], AxisOf("time", "s"), 0, 100)
    assert one.first < 2.7 < one.last
    nothing = scale_for([], AxisOf("time", "s", low=0, high=3), 0, 100)
    assert (nothing.first, nothing.last) == (0, 3)
    assert scale_for([], AxisOf("time"), 0, 100).ticks
    assert scale_for([5.0, 6.0], AxisOf("mass", "g", from_zero=True), 0, 100).first == 0


def test_labels_have_the_decimals_the_step_needs() -> None:
    scale = scale_for([2.5, 2.6], AxisOf("time"), 0, 100)
    assert [scale.label(tick) for tick in scale.ticks] == ["2.50", "2.52", "2.54", "2.56", "2.58", "2.60"]
    assert scale_for([-1, 1], AxisOf("x"), 0, 100).label(-0.0) == "0.0"


def test_it_is_drawn_with_classes_only_and_escaped() -> None:
    spec = Chart(
        "<b>",
        "all & nothing",
        AxisOf("load", "g"),
        AxisOf("time", "s"),
        [Series("Ot<ters", [Dot(1, 2, 1.9, 2.1, "1 g: 2 s")], 1), Series("p", [Dot(2, 2)], 2, Marker.DIAMOND, True)],
        [Curve("line", [(0, 1), (2, 3)], 1, "dotted")],
        [Band("range", [(0, 1, 2), (2, 2, 3)], 3)],
        squares=True,
    )
    html = Template('{% chart spec "c" %}').render(Context({"spec": spec}))
    assert "style=" not in html
    assert "Ot&lt;ters" in html
    assert "<title>1 g: 2 s</title>" in html
    assert 'stroke-dasharray="2 5"' in html
    assert html.count("<li>") == 4


OKABE_ITO = {"#0072b2", "#d55e00", "#009e73", "#cc79a7", "#f0e442", "#56b4e9", "#e69f00", "#000000"}


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_series_have_the_colours_of_okabe_and_ito_and_outlines_that_can_be_seen() -> None:
    """The eight colours as in R's palette.colors("Okabe-Ito") (from memory); outlines 3:1 on the sheet, WCAG 2.2
    success criterion 1.4.11, by day and by night."""
    tokens = (settings.BASE_DIR / "makerlab/static/makerlab/css/tokens.css").read_text("utf-8")
    fills = re.findall(r"--fill-\d: (?:light-dark\()?(#[0-9a-f]{6})", tokens)
    assert len(fills) == 8
    assert set(fills) == OKABE_ITO
    sheet = re.search(r"--sheet: light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", tokens)
    assert sheet is not None
    outlines = re.findall(r"--series-\d: light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", tokens)
    assert len(outlines) == 8
    for day, night in outlines:
        assert _contrast(day, sheet[1]) >= 3, day
        assert _contrast(night, sheet[2]) >= 3, night
    paper = [colour.hexval().replace("0x", "#") for colour in drawing.FILLS]
    assert paper == fills
    assert [colour.hexval().replace("0x", "#") for colour in drawing.SERIES] == [day for day, _night in outlines]


def test_no_two_of_eight_series_look_alike_without_colour() -> None:
    assert len(set(MARKERS)) == 8
