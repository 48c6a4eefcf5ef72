"""The kept plot of the forecast shows the figures of the table beside it, and they stand within the bar."""

from __future__ import annotations

from tests.bench.plan.reliability import CAME_TRUE, PAGE, PLOT, TOLD, Point, drawing, page, read


def test_the_kept_plot_is_drawn_from_the_kept_figures() -> None:
    points = read(PAGE.read_text("utf-8"))
    assert len(points) >= 8, "chances from hopeless to certain"
    assert PLOT.read_text("utf-8") == drawing(points)


def test_the_kept_figures_are_within_the_bar() -> None:
    (point,) = [point for point in read(PAGE.read_text("utf-8")) if TOLD[0] <= point.told < TOLD[1]]
    assert CAME_TRUE[0] <= point.share <= CAME_TRUE[1]
    assert point.meetings >= 10


def test_a_page_gives_its_figures_back() -> None:
    points = [Point(0.05, 0.041, 7), Point(0.75, 0.8, 31)]
    assert read(page(points, 3, 4, "pytest")) == points
    assert drawing(points) != drawing(points[:1])
