"""Example values for /styleguide/: every component in every state. None of these figures was measured."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django import forms

from lessons.models import CheckState, KitPart
from lessons.part_view import ASK_ABOVE_BYTES, PartView, part_view
from makerlab.accounts.models import User
from makerlab.components import marks
from makerlab.components.chart import MARKERS, AxisOf, Band, Chart, Curve, Dot, Marker, Series
from meshcheck.types import Verdict
from printing.bench_page import PrinterCard
from printing.models import Printer
from printing.plate_drawing import DrawnCopy, PlateDrawing
from printing.states import FailureReason
from submissions.models import Submission
from submissions.states import State

SYMBOLS = [
    *("logo", "part", "cart", "today", "review", "plan", "bench", "class", "district", "lesson", "lab", "chart"),
    *("tray", "printer", "spool", "plate", "upload", "ruler", "weigh", "clock", "layers", "turn", "cut", "note"),
    *("undo", "paper", "gear", "find", "help", "left", "right", "up", "down", "plus", "minus", "close", "flag"),
    *("heat", "scraper"),
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


SPOOLS = [(16.0, False, 860), (2.5, True, 46)]  # width of the ring, whether it is too little, grams left


class ExampleForm(forms.Form):
    """A field with help and one with an error, drawn by parts/field.html."""

    name = forms.CharField(label="Name of the printer", help_text="As it stands on its label.")
    grams = forms.FloatField(label="Grams", widget=forms.TextInput(attrs={"inputmode": "decimal"}))


def plate_drawing() -> PlateDrawing:
    """A small round copy, one large enough for words, one by its corners, and an area kept free."""
    copies = (
        DrawnCopy(1, 1, 60, 66, 34, True, "", "Team 2", "wheel"),
        DrawnCopy(2, 2, 138, 66, 34, True, "", "Team 5", "wheel"),
        DrawnCopy(3, 3, 58, 150, 12, True, "", "Team 2", "clip"),
        DrawnCopy(4, 4, 138, 150, 22, False, "116,130 160,130 160,170 116,170", "Team 5", "gauge"),
    )
    return PlateDrawing(
        200, 200, False, "M56 6V206M106 6V206M156 6V206M6 56H206M6 106H206M6 156H206", ((176, 176, 24, 24),), copies
    )


def printer_cards(first_pk: int) -> list[PrinterCard]:
    """A printer in each of its states; every act leads to this page, so that nothing is done from here."""
    states = [
        ("Wren", ("live", "s-run", "printing P4"), 2280.0, "ends 14:38", "Open", False),
        ("Heron", ("good", "s-done", "should be finished, P3"), None, "bed should be cool since 13:50", "Clear", True),
        ("Kestrel", ("plain", "s-wait", "free"), None, "next P5, 14:20", "Start P5", False),
        ("Dipper", ("bad", "s-out", "out of service"), 86_400.0, "Nozzle blocked, until Tue 17 Nov", "Open", False),
        ("Swift", ("plain", "s-wait", "free"), None, "nothing planned", "", False),
    ]
    return [
        PrinterCard(
            Printer(pk=first_pk + at, name=name), None, None, None, mark, left, text, "#parts" if act else "", act, due
        )
        for at, (name, mark, left, text, act, due) in enumerate(states)
    ]


def views(user: User) -> list[tuple[str, PartView]]:
    """The 3D view in its states, of the first part this person may see that has one; empty in a school without."""
    part = KitPart.objects.visible_to(user).exclude(shown=None).defer("picture").order_by("pk").first()
    view = part_view(part, "lessons:kit-part") if part is not None else None
    if view is None:
        return []
    asking = replace(view, mesh_bytes=2 * ASK_ABOVE_BYTES)
    simpler = replace(view, faces_measured=3 * view.faces)
    return [("fetched when it is seen", view), ("asks first", asking), ("of a simplified mesh", simpler)]


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
        "form_by_day": ExampleForm({"name": "Wren", "grams": "4o2"}, auto_id="day_%s"),
        "form_by_night": ExampleForm({"name": "Wren", "grams": "4o2"}, auto_id="night_%s"),
        "spools": SPOOLS,
        "submission": Submission(state=State.HANDED_IN, check_state=CheckState.CHECKED, verdict=Verdict.OK),
        "plate_drawing": plate_drawing(),
        "reasons": FailureReason.choices,
        "cards_by_day": printer_cards(1),
        "cards_by_night": printer_cards(11),
        "themes": ["light", "dark"],
    }
