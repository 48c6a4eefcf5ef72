"""Example values for /styleguide/: every component in every state. None of these figures was measured."""

from __future__ import annotations

from typing import Any

from makerlab.components import marks
from makerlab.components.chart import MARKERS, AxisOf, Band, Chart, Curve, Dot, Marker, Series

SYMBOLS = [
    *("logo", "part", "cart", "today", "review", "plan", "bench", "class", "lesson", "lab", "chart", "tray", "printer"),
    *("spool", "plate", "upload", "ruler", "weigh", "clock", "layers", "turn", "cut", "note", "undo", "paper", "gear"),
    *("find", "help", "left", "right", "up", "down", "plus", "minus", "close", "flag", "heat", "scraper"),
    *(
        "s-pass",
        "s-done",
        "s-advice",
        "s-fix",
        "s-wait",
        "s-run",
        "s-plan",
        "s-late",
        "s-hold",
        "s-pin",
        "s-back",
        "s-out",
    ),
    *("s-part", "s-unknown", "b-wren", "b-heron", "b-kestrel", "b-dipper", "b-swift"),
]

COLOURS = ("paper", "sheet", "ink", "soft", "pen", "pencil", "good", "care")

FINDINGS: list[dict[str, Any]] = [
    {
        "code": "hole-size",
        "level": "must_fix",
        "title": "The hub hole is too small for the axle",
        "figure": "2.95 mm, allowed 3.15 to 3.30 mm",
        "why": "The axle is 3.0 mm thick. A printed hole shrinks a little more, so the wheel would jam.",
        "mend": "Select the hole in your drawing and set its diameter to 3.2 mm. Do not scale the whole wheel.",
        "limit_source": "the kit of this lesson",
        "scale": {"value": 2.95, "low": 3.15, "high": 3.30, "unit": "mm", "decimals": 2},
    },
    {
        "code": "overhang",
        "level": "advice",
        "title": "Five spokes start above the bed",
        "figure": "6.3 cm², up to 4 cm² needs no support",
        "why": "They begin 2.2 mm up and need support under them.",
        "mend": "Let the spokes start at the bed, or slope their undersides no flatter than 45°.",
        "limit_source": "common practice, no source",
        "scale": {"value": 6.3, "low": None, "high": 4.0, "unit": "cm²", "decimals": 1},
    },
    {
        "code": "closed",
        "level": "passes",
        "title": "The skin is closed",
        "figure": "7,420 triangles, no open edges",
        "scale": None,
    },
]

RULERS: list[dict[str, Any]] = [
    {"level": "passes", "scale": {"value": 3.22, "low": 3.15, "high": 3.30, "unit": "mm", "decimals": 2}},
    {"level": "must_fix", "scale": {"value": 81.28, "low": 3.15, "high": 3.30, "unit": "mm", "decimals": 2}},
    {"level": "must_fix", "scale": {"value": 0.5, "low": 0.8, "high": None, "unit": "mm", "decimals": 1}},
]

STEPS = [
    {"state": "done", "title": "Handed in", "note": "Mon 16 Nov, 14:02"},
    {"state": "done", "title": "Checked", "note": "passes"},
    {"state": "now", "title": "Printing", "note": "38 min left"},
    {"state": "next", "title": "In tray 7", "note": "likely 14:00"},
]
STEPS_BAD = [
    {"state": "done", "title": "Handed in", "note": "Mon 16 Nov, 14:02"},
    {"state": "bad", "title": "Sent back", "note": "wall 0.5 mm, needs 0.8 mm"},
    {"state": "next", "title": "Version 2", "note": "yours to make"},
]

CHART = Chart(
    "Every marker, line and band",
    "Eight series, each with its own colour and shape, an error bar on the first, two lines and a band",
    AxisOf("load", "g"),
    AxisOf("time", "s"),
    [
        *(
            Series(
                f"series {tone}",
                [Dot(25 * tone, 2.5 + 0.05 * tone, 2.45 + 0.05 * tone, 2.55 + 0.05 * tone)],
                tone,
                marker,
            )
            for tone, marker in enumerate(MARKERS, start=1)
        ),
        Series("predicted", [Dot(100, 2.95)], 1, Marker.DIAMOND, hollow=True),
        Series("other teams", [Dot(10, 2.9), Dot(14, 2.86), Dot(18, 2.93)], 8, Marker.FAINT),
    ],
    [Curve("solid", [(0, 2.9), (200, 2.6)], 1), Curve("dotted", [(0, 2.8), (200, 2.5)], 3, "dotted")],
    [Band("range", [(0, 2.75, 2.85), (200, 2.45, 2.55)], 3)],
)


def context() -> dict[str, Any]:
    """Everything the page draws."""
    tables = {
        "verdicts": marks.VERDICTS.values(),
        "submissions": [*marks.CHECKS.values(), *marks.SUBMISSIONS.values()],
        "copies": marks.COPIES.values(),
        "outcomes": [*marks.PLATES.values(), *marks.OUTCOMES.values(), marks.NOT_CHECKED],
    }
    return {
        "mark_tables": [[(mark.kind, mark.icon, mark.text) for mark in table] for table in tables.values()],
        "symbols": SYMBOLS,
        "colours": COLOURS,
        "findings": FINDINGS,
        "rulers": RULERS,
        "steps": STEPS,
        "steps_bad": STEPS_BAD,
        "chart": CHART,
        "themes": ["light", "dark"],
    }
