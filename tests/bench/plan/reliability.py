"""What was told beside what came true: the plot and the page that keep it, drawn from the benchmark's own figures.

``MAKERLAB_BENCH_KEEP=1`` with the benchmark writes docs/forecast.md and its plot anew.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

DOCS = Path(__file__).parents[3] / "docs"
PAGE, PLOT = DOCS / "forecast.md", DOCS / "forecast-reliability.svg"
KEEP = bool(os.environ.get("MAKERLAB_BENCH_KEEP"))
LEFT, TOP, SIDE = 64, 24, 400  # px of the square in which both chances run from 0 to 1
INK, SOFT, PEN, WASH = "#17202e", "#8a927f", "#2a3fa0", "#dfe4f7"
TOLD, CAME_TRUE = (0.7, 0.8), (0.65, 0.85)  # the bar: what is told at 0.7 to 0.8 comes true in 0.65 to 0.85 of cases


@dataclass(frozen=True)
class Point:
    """One tenth: the mean chance told, the share that came true, in so many meetings."""

    told: float
    share: float
    meetings: int


def _x(told: float) -> float:
    return round(LEFT + SIDE * told, 1)


def _y(share: float) -> float:
    return round(TOP + SIDE * (1 - share), 1)


def drawing(points: Sequence[Point]) -> str:
    """The plot as SVG: told along the bottom, come true upwards, the diagonal where both agree, the bar as a wash. The
    area of a dot is its number of meetings, which is written beside it."""
    parts = [
        f'<rect width="500" height="490" fill="#fffffb"/>'
        f'<rect x="{_x(TOLD[0])}" y="{_y(CAME_TRUE[1])}" width="{SIDE * (TOLD[1] - TOLD[0]):.0f}" '
        f'height="{SIDE * (CAME_TRUE[1] - CAME_TRUE[0]):.0f}" fill="{WASH}"/>'
    ]
    for tenth in range(0, 11, 2):
        at = tenth / 10
        parts.append(
            f'<path d="M{_x(at)} {_y(0)}v6M{_x(0)} {_y(at)}h-6" stroke="{INK}"/>'
            f'<text x="{_x(at)}" y="{_y(0) + 22}" text-anchor="middle">{at:.1f}</text>'
            f'<text x="{_x(0) - 12}" y="{_y(at) + 5}" text-anchor="end">{at:.1f}</text>'
        )
    parts.append(
        f'<path d="M{_x(0)} {_y(0)}H{_x(1)}M{_x(0)} {_y(0)}V{_y(1)}" stroke="{INK}" fill="none"/>'
        f'<path d="M{_x(0)} {_y(0)}L{_x(1)} {_y(1)}" stroke="{SOFT}" stroke-dasharray="5 4"/>'
    )
    line = " ".join(f"{_x(point.told)},{_y(point.share)}" for point in points)
    parts.append(f'<polyline points="{line}" fill="none" stroke="{PEN}" stroke-width="1.5"/>')
    for point in points:
        radius = 2 + math.sqrt(point.meetings) / 2
        beside, beneath = round(_x(point.told) + radius + 4, 1), round(_y(point.share) + 14, 1)
        parts.append(
            f'<circle cx="{_x(point.told)}" cy="{_y(point.share)}" r="{radius:.1f}" fill="{PEN}"/>'
            f'<text x="{beside}" y="{beneath}" font-size="11">{point.meetings}</text>'
        )
    words = "".join(
        (
            f'<text x="{_x(0.5)}" y="{_y(0) + 46}" text-anchor="middle">chance told</text>',
            f'<text transform="translate(16 {_y(0.5)}) rotate(-90)" text-anchor="middle">share that came true</text>',
        )
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 500 490" role="img" aria-labelledby="t" '
        f'font-family="sans-serif" font-size="13" fill="{INK}"><title id="t">Chance told and share that came true, '
        f"by tenths of the chance</title>{''.join(parts)}{words}</svg>\n"
    )


def table(points: Sequence[Point]) -> str:
    """The figures behind the plot, in Markdown."""
    rows = [f"| {point.told:.3f} | {point.share:.3f} | {point.meetings} |" for point in points]
    return "\n".join(["| chance told, mean | share that came true | meetings |", "|---|---|---|", *rows])


def read(page: str) -> list[Point]:
    """The figures of a page made by ``page``."""
    rows = re.findall(r"^\| (\d\.\d{3}) \| (\d\.\d{3}) \| (\d+) \|$", page, re.MULTILINE)
    return [Point(float(told), float(share), int(meetings)) for told, share, meetings in rows]


def page(points: Sequence[Point], rooms: int, histories: int, command: str) -> str:
    """The page that keeps them."""
    return f"""# How far a chance can be believed

When the room plan says that a class has its parts with 75 in 100, that should come true three times in four. No
school's records are at hand, so it is checked on simulated ones: {rooms} rooms of 5 printers and 30 plates, each
planned and forecast, then lived through {histories} times by a plain simulation of its own that shares no code with the
forecast (`tests/bench/plan/history.py`). A room does not know how often its prints fail: it learns that from 200 runs
on record, as the app does, and the truth is drawn anew for each room. What this cannot show is whether real staff keep
to the plan as the simulation does.

![Chance told and share that came true](forecast-reliability.svg)

The diagonal is where both agree, the wash what is asked for: chances of 0.7 to 0.8 come true in 0.65 to 0.85 of cases.
The area of a dot is its number of meetings.

{table(points)}

Made by `{command}`; `tests/planning/test_reliability.py` fails when plot and table part.
"""


def keep(points: Sequence[Point], rooms: int, histories: int, command: str) -> None:
    """Write the page and its plot, by the figures as the table has them."""
    made = page(points, rooms, histories, command)
    PAGE.write_text(made, "utf-8")
    PLOT.write_text(drawing(read(made)), "utf-8")
