"""What a remedy costs, in words: every sentence with its figures by hand."""

from __future__ import annotations

from typing import Any

import pytest

from printing.forecast_page import _costs


def effect(remedy: str, **figures: Any) -> dict[str, Any]:
    return {"remedy": remedy, "minutes": None, "staff_hours": 0.0, "grams": 0.0, "lost": 0, **figures}


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (effect("plan_anew"), "no more of the technician's time, no more filament"),
        (effect("printer"), "a printer, no more of the technician's time, no more filament"),
        (
            effect("evening", minutes=180, staff_hours=0.25, grams=0.4),
            "3 h of somebody's evening, 15 min more of the technician's time, no more filament",
        ),
        (
            effect("later", lost=2),
            "the class waits, no more of the technician's time, no more filament, 2 plates lose their place",
        ),
        (
            effect("spares", staff_hours=1.5, grams=204.0),
            "1 h 30 min more of the technician's time, 204 g more filament",
        ),
        (
            effect("lighter", staff_hours=-1 / 60, grams=-9.3),
            "1 min less of the technician's time, 9.3 g less filament",
        ),
    ],
)  # fmt: skip
def test_minutes_and_grams_are_always_said(found: dict[str, Any], words: str):
    assert _costs(found).replace("\u00a0", " ") == words
