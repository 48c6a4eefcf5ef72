"""The cautions of the lessons that come with the app are told in Spanish too."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.utils import translation

from lessons.plans.cautions import told

FILES = sorted((Path(__file__).resolve().parents[3] / "demo_fixtures").rglob("*.json"))


def cautions() -> list[dict[str, str]]:
    found: list[dict[str, str]] = []

    def look(value: object) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                if key == "cautions" and isinstance(inner, list):
                    found.extend(row for row in inner if isinstance(row, dict))
                look(inner)
        elif isinstance(value, list):
            for inner in value:
                look(inner)

    for path in FILES:
        look(json.loads(path.read_text("utf-8")))
    return found


def test_they_are_found():
    assert len(cautions()) >= 25


@pytest.mark.parametrize("row", cautions(), ids=lambda row: str(row.get("text", ""))[:40])
def test_each_is_told_in_spanish(row: dict[str, str]):
    with translation.override("es"):
        assert told(row["text"]) != row["text"]
    with translation.override("en"):
        assert told(row["text"]) == row["text"]
