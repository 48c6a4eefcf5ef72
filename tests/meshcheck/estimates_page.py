# ruff: noqa: E501
"""The table of ten shapes in docs/estimates.md: ``python -m tests.meshcheck.estimates_page`` writes it.

Everything in it is computed, nothing is timed, so the page is the same on every machine; a test compares it.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from meshcheck.estimate import estimate
from meshcheck.overhang import overhang
from meshcheck.types import Estimate, Machine, Mesh, PrintSettings
from planning.calibration import calibrate
from tests.meshcheck.parts import Outline, Solid, box, disc, drilled, mesh_of

PAGE = Path(__file__).parents[2] / "docs" / "estimates.md"
GRAMS_PER_MM3 = 1.24e-3  # PLA
FULL = PrintSettings(infill_share=1.0, support="off")
SHELL = PrintSettings()
MACHINE = Machine()
HEAT_UP_MIN = 3.0
WIDTH, LAYER = SHELL.line_width_mm, SHELL.layer_height_mm

INTRODUCTION = """# Grams and minutes: what they are checked against

Grams come from the geometry of the layers, minutes from the path through them and a model of the machine's motion. The
table holds ten shapes whose grams can be worked out on paper (and the minutes of two). It is written by
`python -m tests.meshcheck.estimates_page`; a test fails when it no longer agrees with the code.

**No real printer was measured.** Agreement with paper says that the sums are right, not that a printer obeys them: a
printer's own program draws its own path, and no two printers speed up alike. Until runs are on record the spread below
is what a room must live with, and the forecast of the plan reckons with it.

Runs close the gap. When a bed is cleared the bench asks when the printer itself stopped ("nobody saw it" is an answer;
nothing is guessed) and, if there is a scale, what came off the bed weighed. From the newest sixty such runs of a
printer with a material follow a factor, fixed minutes and a spread, each with an interval that holds the truth nine
times in ten (simulated printers whose truth is known: `tests/planning/test_calibration.py`, `test_alike.py`). The fit is
robust: about one run in five may be wild. While runs are few they move the plain estimate only part of the way, and a
printer without runs of its own learns from others of its kind (`planning/calibration.py`, `planning/alike.py`). The
printer's page draws estimate against actual, with the line of equality, the fitted line and where nine of ten runs lie,
and tells when the newest runs depart from those before (a two-sided cumulative sum, one false alarm in some 470 runs:
`planning/drift.py`). What was learned feeds planned minutes, the forecast, the minutes left at the bench and the question
whether a spool lasts; how often prints fail is learned in the same way (`planning/failures.py`).

Material PLA, 1.24 g/cm³; layers of 0.2 mm, lines of 0.42 mm; the default machine. Minutes are with three minutes of
heat-up and without cooling down. "Spread" is where nine of ten runs are expected before a printer has any run on
record.

| shape | grams | on paper | apart | minutes | on paper | spread, minutes |
|---|---|---|---|---|---|---|
"""


@dataclass(frozen=True)
class Row:
    name: str
    mesh: Callable[[], Mesh]
    settings: PrintSettings
    grams: float  # by the derivation beside the row
    derivation: str
    minutes: float | None = None
    machine: Machine = MACHINE


def _ball(radius: float) -> Mesh:
    angle = np.linspace(-np.pi / 2, np.pi / 2, 385)
    half = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return mesh_of(Solid.revolve(Outline([half]), 720))


def _table() -> Mesh:
    return mesh_of(box(40, 40, 5, (-20, -20, 20)) + box(10, 10, 20, (-5, -5, 0)))


def _leg_s(length: float, speed: float, begin: float, end: float) -> float:
    """A straight leg that reaches its speed, between two end speeds, at 1000 mm/s2."""
    ramps = (2 * speed**2 - begin**2 - end**2) / 2000
    return (2 * speed - begin - end) / 1000 + (length - ramps) / speed


def _hollow_box_minutes() -> float:
    """One loop of 39.58 mm a side in each of 50 layers, three corners of 90 degrees taken at the junction speed."""
    s = math.sqrt(0.5)
    corner = math.sqrt(1000 * 0.013 * s / (1 - s))
    loops = [2 * _leg_s(39.58, v, 0, corner) + 2 * _leg_s(39.58, v, corner, corner) for v in [20.0] + [40.0] * 49]
    return (sum(max(loop, 5.0) for loop in loops) + 50 * 0.3) / 60 + HEAT_UP_MIN


def _fin_minutes() -> float:
    """A layer's line takes 0.4 s: all 50 layers last the least a layer may, 5 s, and a change of layer."""
    return 50 * (5.0 + 0.3) / 60 + HEAT_UP_MIN


SOLID_CUBE = 20.0**3
CORE = (20 - 4 * WIDTH) ** 2 * (20 - 8 * LAYER)
ONE_WALL = replace(SHELL, walls=1, top_layers=0, bottom_layers=0, infill_share=0.0)

ROWS = (
    Row("cube 20 mm, full", lambda: mesh_of(box(20, 20, 20)), FULL, SOLID_CUBE * GRAMS_PER_MM3, "20³"),
    Row(
        "cube 20 mm, 2 walls, 4 + 4 skins, 15 %",
        lambda: mesh_of(box(20, 20, 20)),
        SHELL,
        (SOLID_CUBE - 0.85 * CORE) * GRAMS_PER_MM3,
        "20³ − 0.85 (20 − 4·0.42)² (20 − 8·0.2)",
    ),
    Row(
        "tube 30 × 6 bore × 8 mm, full",
        lambda: mesh_of(drilled(disc(15, 8, 720), 3, 720)),
        FULL,
        math.pi * (15**2 - 3**2) * 8 * GRAMS_PER_MM3,
        "π (15² − 3²) 8; drawn with 720 sides",
    ),
    Row("ball 20 mm, full", lambda: _ball(10), FULL, 4 / 3 * math.pi * 1e3 * GRAMS_PER_MM3, "4/3 π 10³; 720 sides"),
    Row(
        "cone 20 × 20 mm, full",
        lambda: mesh_of(Solid.cylinder(20, 10, 0, 1440)),
        FULL,
        math.pi / 3 * 100 * 20 * GRAMS_PER_MM3,
        "π/3 10² 20; 1440 sides",
    ),
    Row(
        "ring of 40 mm, 10 mm thick, full",
        lambda: mesh_of(Solid.revolve(Outline.circle(5, 512).translate((20, 0)), 720)),
        FULL,
        2 * math.pi**2 * 20 * 25 * GRAMS_PER_MM3,
        "2 π² 20 · 5²; 720 × 512 sides",
    ),
    Row(
        "bar 20 × 10 × 20 mm, twisted by 90°, full",
        lambda: mesh_of(Outline.square((20, 10), True).extrude(20, 20_000, 90.0)),
        FULL,
        4000 * GRAMS_PER_MM3,
        "20 · 10 · 20; drawn in 20 000 steps",
    ),
    Row(
        "box 40 × 40 × 10 mm, one wall, open",
        lambda: mesh_of(box(40, 40, 10)),
        ONE_WALL,
        (40**2 - (40 - 2 * WIDTH) ** 2) * 10 * GRAMS_PER_MM3,
        "(40² − (40 − 2·0.42)²) 10; loops of 4 · 39.58 mm, corners at the junction speed",
        _hollow_box_minutes(),
    ),
    Row(
        "fin 20 × 0.3 × 10 mm",
        lambda: mesh_of(box(20, 0.3, 10)),
        SHELL,
        20 * 0.3 * 10 * GRAMS_PER_MM3,
        "20 · 0.3 · 10, one line of 0.3 mm; every layer lasts its least time",
        _fin_minutes(),
    ),
    Row(
        "table 40 × 40 × 25 mm on a leg, full, with support",
        _table,
        replace(FULL, support="on"),
        (40 * 40 * 5 + 10 * 10 * 20 + 0.15 * 1500 * 20) * GRAMS_PER_MM3,
        "40²·5 + 10²·20, support 15 % of 1500·20",
    ),
)


def figures(row: Row) -> Estimate:
    mesh = row.mesh()
    found = estimate(mesh, row.settings, row.machine, overhang(mesh, watertight=True))
    assert isinstance(found, Estimate), found
    return found


def _signed(percent: float) -> str:
    return f"{percent:+.3f}" if abs(percent) >= 5e-4 else "0.000"


def page() -> str:
    """The whole page."""
    lines, notes = [], []
    no_runs = calibrate([])
    for number, row in enumerate(ROWS, 1):
        found = figures(row)
        minutes = found.duration_s / 60
        run = no_runs.duration(found.duration_s).run
        apart = 100 * (found.used_g / row.grams - 1)
        paper = "" if row.minutes is None else f"{row.minutes:.2f}"
        lines.append(
            f"| {number}. {row.name} | {found.used_g:.3f} | {row.grams:.3f} | {_signed(apart)} % | {minutes:.2f} "
            f"| {paper} | {run.low / 60:.0f} to {run.high / 60:.0f} |"
        )
        notes.append(f"{number}. {row.derivation}")
    return INTRODUCTION + "\n".join(lines) + "\n\nOn paper, in mm³ and times the density:\n\n" + "\n".join(notes) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    sys.stdout.write(f"wrote {PAGE}\n")
