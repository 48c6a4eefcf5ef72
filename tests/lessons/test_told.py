"""What the engine says, said in another language."""

from __future__ import annotations

import json
import re

import pytest
from django.utils import translation

from lessons.told import in_words, reason_of, reworded
from makerlab.management.commands.write_messages import engine_texts
from meshcheck.report import SAID, report_json
from telling import as_data, told
from tests.meshcheck.test_check import FILES, check_demo


def test_figures_are_written_as_the_language_writes_them():
    said = as_data(told("{found:.2f} mm, {count:,} times, {whole} in all", found=2.954, count=12345, whole=7))
    with translation.override("de"):  # formats only: a decimal comma
        assert in_words(said) == "2,95 mm, 12.345 times, 7 in all"
    with translation.override("es"):  # as in the United States and Mexico
        assert in_words(said) == "2.95 mm, 12,345 times, 7 in all"
    with translation.override("en"):
        assert in_words(said) == "2.95 mm, 12,345 times, 7 in all"


def test_a_report_kept_before_this_stays_as_it_was():
    with translation.override("es"):
        assert reworded({"title": "Old", "figure": "2.95 mm"}) == {"title": "Old", "figure": "2.95 mm"}
        assert reason_of({"reason": "Ready."}) == "Ready."


@pytest.mark.parametrize("name", sorted(FILES))
def test_every_text_of_a_report_can_be_made_again_from_what_is_kept(name):
    report = json.loads(json.dumps(report_json(check_demo(name))))
    known = engine_texts()
    with translation.override("en"):
        for finding in report["findings"]:
            for name in SAID:
                assert in_words(finding["said"][name]) == finding[name]
                assert templates_of(finding["said"][name]) <= known
        assert in_words(report["reason_said"]) == report["reason"]
        assert in_words(report["unit_reason_said"]) == report["unit_reason"]


def templates_of(said: object) -> set[str]:
    """Templates with words in them."""
    if not isinstance(said, list):
        return set()
    template, values = said
    own = {template} if re.search(r"[^\W\d_]", re.sub(r"\{.*?\}", "", template)) else set()
    return own.union(*(templates_of(value) for value in values.values()))


def test_a_finding_is_shown_in_the_readers_language(monkeypatch):
    spanish = {"{count} holes": "{count} agujeros", " of {size:.1f} mm": " de {size:.1f} mm"}
    monkeypatch.setattr("lessons.told._", lambda text: spanish.get(text, text))
    kept = {"title": "4 holes of 2.5 mm", "said": {"title": as_data(told("{holes}{size}", holes=told(
        "{count} holes", count=4), size=told(" of {size:.1f} mm", size=2.5)))}}  # fmt: skip
    with translation.override("es"):
        assert reworded(kept)["title"] == "4 agujeros de 2.5 mm"
    with translation.override("en"):
        assert reworded(kept)["title"] == "4 holes of 2.5 mm"
