"""Each graph of lab day against points worked out by hand.

The drawing is 580 wide and 380 high; the axes run from x = 56 to 560 px and from y = 316 px (low) to 40 px (high).
"""

from __future__ import annotations

import re

import pytest

from lessons.lab import charts
from lessons.lab.experiment import Experiment
from lessons.lab.results import ClassResult, Entry, class_result
from lessons.science.values import Measured
from makerlab.components.chart import MARKERS, DrawnSeries
from tests.lessons.lab.test_results import OWN, entries, experiment

KIT = "starting wheel"
LEFT, RIGHT, FLOOR, TOP = 56.0, 560.0, 316.0, 40.0


def x_px(value: float, low: float, high: float) -> float:
    return LEFT + (RIGHT - LEFT) * (value - low) / (high - low)


def y_px(value: float, low: float, high: float) -> float:
    return FLOOR - (FLOOR - TOP) * (value - low) / (high - low)


def points(series: DrawnSeries) -> list[tuple[float, float]]:
    """Where the marks of a series begin, which is their middle."""
    found = [re.match(r"M([\d.]+) ([\d.]+)m", mark.path) for mark in series.marks]
    return [(float(each[1]), float(each[2])) for each in found if each]


def bar(series: DrawnSeries, number: int) -> tuple[float, float]:
    """Low and high end of an error bar."""
    found = re.match(r"M[\d.]+ ([\d.]+)V([\d.]+)", series.marks[number].bar)
    assert found is not None
    return float(found[1]), float(found[2])


def near(*pairs: tuple[float, float]) -> list[tuple[float, float]]:
    """Coordinates are rounded to 0.1 px."""
    return [(pytest.approx(x, abs=0.06), pytest.approx(y, abs=0.06)) for x, y in pairs]


ROWS = [*entries(0, 2.78, 2.80, 2.82), *entries(200, 2.58, 2.60, 2.62), *entries(100, 2.67, 2.68, 2.69)]


def of_a_class(rows: dict[int, list[Entry]], what: Experiment | None = None) -> ClassResult:
    return class_result(what or experiment(), [(key, f"Team {key}") for key in rows], rows)


def test_a_teams_graph() -> None:
    """Means 2.80 s at 0 g, 2.60 s at 200 g, 2.68 s at 100 g; predicted (2.80 + 2.60) / 2 = 2.70 s. Readings from 2.58
    to 2.82 s need steps of 0.05 s: the axis runs from 2.55 to 2.85 s. Bars: sd 0.02 s, 0.02 / sqrt 3 = 0.01155 s; at
    100 g half of that."""
    team = of_a_class({1: ROWS}).teams[0]
    drawn = charts.team_chart(experiment(), team, team.design(OWN)).drawn()
    assert [tick.label for tick in drawn.x_ticks] == ["0", "50", "100", "150", "200"]
    assert [tick.label for tick in drawn.y_ticks] == ["2.55", "2.60", "2.65", "2.70", "2.75", "2.80", "2.85"]
    assert (drawn.x_title, drawn.y_title) == ("load, g", "time, s")
    series = {each.name: each for each in drawn.series}
    assert len(series["single runs"].marks) == 9
    low, high = 2.55, 2.85
    means = series["mean and standard error"]
    assert points(means) == near((56, y_px(2.80, low, high)), (560, y_px(2.60, low, high)))
    assert points(means) == near((56, 86), (560, 270))  # 316 - 276 x 0.25 / 0.3 and 316 - 276 x 0.05 / 0.3
    assert bar(means, 0) == pytest.approx(
        (y_px(2.80 - 0.011547, low, high), y_px(2.80 + 0.011547, low, high)), abs=0.06
    )
    assert points(series["predicted 2.70\u00a0s"]) == near((308, 178))  # the middle of both axes
    assert points(series["measured 2.68\u00a0s"]) == near((308, 316 - 276 * 0.13 / 0.3))
    assert bar(series["measured 2.68\u00a0s"], 0)[0] == pytest.approx(y_px(2.68 - 0.0057735, low, high), abs=0.06)
    (line,) = drawn.curves
    assert line.path == "M56.0 86.0L560.0 270.0"
    assert "0\u00a0g: 2.80\u00a0s; 200\u00a0g: 2.60\u00a0s; 100\u00a0g: 2.68\u00a0s" in drawn.description


def test_the_class_overlay() -> None:
    """Team 2 runs 0.10 s slower: readings' bars from 2.60 - 0.0115 s to 2.90 + 0.0115 s, steps of 0.1 s, axis from 2.5
    to 3.0 s (the next round steps outside). Every team has a colour, a shape and a place of its own."""
    slower = [
        *entries(0, 2.88, 2.90, 2.92), *entries(200, 2.68, 2.70, 2.72), *entries(100, 2.77, 2.78, 2.79)
    ]  # fmt: skip
    drawn = charts.class_chart(experiment(), of_a_class({1: ROWS, 2: slower, 3: []}), OWN).drawn()
    low, high = float(drawn.y_ticks[0].label), float(drawn.y_ticks[-1].label)
    assert (low, high) == (2.5, 3.0)
    assert [each.name for each in drawn.series] == ["Team 1", "Team 2"]  # who has not measured is not drawn
    expected = ((0, 2.90), (200, 2.70), (100, 2.78))
    assert points(drawn.series[1]) == near(*[(x_px(x, 0, 200), y_px(y, low, high)) for x, y in expected])
    assert points(drawn.series[0])[0] == near((56, 316 - 276 * 0.3 / 0.5))[0]
    assert [each.tone for each in drawn.series] == [1, 2]
    assert drawn.series[0].sample != drawn.series[1].sample


def test_sixteen_teams_all_look_different() -> None:
    rows = {key: entries(0, 2.7, 2.7 + key / 100, 2.8) for key in range(1, 17)}
    chart = charts.class_chart(experiment(), of_a_class(rows), OWN)
    looks = {(series.tone, series.marker, series.hollow) for series in chart.series}
    assert len(looks) == 16
    assert {series.marker for series in chart.series} == set(MARKERS)


def test_designs_over_one_another() -> None:
    """The kit's wheel 0.10 s slower at 0 g only: two series, the second with one point to each load."""
    team = of_a_class({1: [*ROWS, *entries(0, 2.88, 2.90, 2.92, design=KIT)]}).teams[0]
    drawn = charts.designs_chart(experiment(), team).drawn()
    low, high = float(drawn.y_ticks[0].label), float(drawn.y_ticks[-1].label)
    assert [each.name for each in drawn.series] == [KIT, OWN]
    assert points(drawn.series[0]) == near((56, y_px(2.90, low, high)))
    assert points(drawn.series[1])[2] == near((308, y_px(2.68, low, high)))[0]


def test_what_physics_expects_is_a_band() -> None:
    """Expected 2.75 +- 0.02 s at 0 g and 2.65 +- 0.02 s at 200 g: the band reaches 1.96 x 0.02 = 0.0392 s each way."""
    expected = {0.0: Measured(2.75, 0.02), 200.0: Measured(2.65, 0.02)}
    team = of_a_class({1: ROWS}).teams[0]
    drawn = charts.team_chart(experiment(), team, team.design(OWN), expected).drawn()
    low, high = float(drawn.y_ticks[0].label), float(drawn.y_ticks[-1].label)
    (band,) = drawn.bands
    corners = [tuple(map(float, pair.split())) for pair in band.path.strip("MZ").split("L")]
    assert corners == near(
        (56, y_px(2.7108, low, high)), (560, y_px(2.6108, low, high)),
        (560, y_px(2.6892, low, high)), (56, y_px(2.7892, low, high)),
    )  # fmt: skip
    assert drawn.curves[-1].dash == "2 5"


def test_a_fitted_line_through_all_runs() -> None:
    """Runs at 0 g 2.78, 2.80, 2.82 s and at 200 g 2.58, 2.60, 2.62 s: least squares goes through both means."""
    what = experiment(predict_by="fitted_line")
    team = of_a_class({1: ROWS}, what).teams[0]
    drawn = charts.team_chart(what, team, team.design(OWN)).drawn()
    assert drawn.curves[0].name == "fitted line"
    assert drawn.curves[0].path == "M56.0 86.0L560.0 270.0"


def test_blank_graph_paper_has_squares_and_no_numbers_upright() -> None:
    drawn = charts.blank_chart(experiment()).drawn()
    assert {tick.label for tick in drawn.y_ticks} == {""}
    assert [tick.label for tick in drawn.x_ticks] == ["0", "50", "100", "150", "200"]
    upright, level = drawn.squares
    assert upright.count("M") == 4 * 5 + 1  # four steps of five squares
    assert level.count("M") == (len(drawn.y_ticks) - 1) * 5 + 1
    assert not drawn.series
