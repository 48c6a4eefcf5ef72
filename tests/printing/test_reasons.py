"""Reasons of the plan are kept with what they were made of, and read in the reader's language; old ones as they are."""

from __future__ import annotations

import json

import pytest
from django.utils import translation

from makerlab.management.commands.write_messages import engine_texts
from planning.calendar import always_staffed
from planning.schedule import solve
from planning.types import Pin, PlateJob, Problem, Stop
from planning.verify import violations
from printing import reasons
from printing.models import Plate
from telling import Told, as_data, from_data
from tests.planning.odd_rooms import odd_room
from tests.planning.rooms import printer, random_room

SPANISH = {
    "{reasons}.": "{reasons}.",
    "{printer} {why}": "{printer} {why}",
    "cannot hold a {length:.0f} mm {part}": "no tiene sitio para {part} de {length:.0f} mm",
    "No printer and technician are free for it before {last:%d %B %H:%M}.": "Nadie libre antes de {last}.",
}


@pytest.fixture
def in_spanish(monkeypatch):
    """The two catalogue entries a reader in Spain would see, whether or not the real catalogue has them yet."""
    monkeypatch.setattr("lessons.told._", lambda text: SPANISH.get(text, text))
    with translation.override("es"):
        yield


def unplanned() -> Plate:
    why = from_data(["cannot hold a {length:.0f} mm {part}", {"length": 240.0, "part": "chassis"}])
    job = PlateJob("a", (), "PLA", "red", 10.0, {}, barred={"H": why})
    plan = solve(Problem(always_staffed(1000), 0, (printer("H", 0),), (job,), ()), Stop(iterations=0))
    return Plate(unplanned_because=reasons.kept_text(plan.unplaced[0].reason))


def test_a_reason_is_read_in_english():
    assert unplanned().why_unplanned == "Printer H cannot hold a 240 mm chassis."


def test_a_reason_is_read_in_another_language(in_spanish):
    assert unplanned().why_unplanned == "Printer H no tiene sitio para chassis de 240 mm."


def test_a_time_in_a_reason_is_written_as_the_language_does(in_spanish):
    job = PlateJob("a", (), "PLA", "red", 10.0, {"A": 300}, pin=Pin(printer_id="A"))
    problem = Problem(always_staffed(500), 0, (printer("A", 400),), (job,), ())
    reason = solve(problem, Stop(iterations=0)).unplaced[0].reason
    kept = json.loads(json.dumps(as_data(reason)))
    assert reasons.words(kept).startswith("Nadie libre antes de ")
    assert from_data(kept) == reason


def test_what_was_kept_before_is_read_as_it_is():
    for text in ("", "Heron is out of service then.", '["not what it seems'):
        assert Plate(unplanned_because=text).why_unplanned == text
        assert reasons.words(text) == text
    assert reasons.overload_words("Until Friday: technician load 140 %.") == "Until Friday: technician load 140 %."


def test_overload_is_told_with_its_figures():
    load = {"until": "2026-11-20", "staff_percent": 140, "printer_percent": 60, "too_many_min": 545}
    assert reasons.overload_words(load) == (
        "Until Friday 20 November: technician load 140 %, printer load 60 %. "
        "That is about 9\u00a0h\u00a005\u00a0min of starts and clears too many."
    )
    assert "printers cannot make" in reasons.overload_words(load | {"staff_percent": 90, "printer_percent": 120})


def test_every_reason_of_many_rooms_has_its_template_in_the_catalogue():
    gathered = engine_texts() | {"{reasons}.", "{printer} {why}"}
    seen = set()
    for seed in range(12):
        for problem in (random_room(seed), odd_room(seed)):
            plan = solve(problem, Stop(iterations=0))
            assert violations(problem, plan) == []
            for note in (*plan.unplaced, *plan.released):
                assert isinstance(note.reason, Told), note.reason
                seen.add(note.reason.template)
    assert len(seen) >= 4
    assert seen <= gathered
