"""What staff have fixed and what was published: pins, frozen starts, and starts that move only when it pays."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.schedule import solve
from planning.types import Kit, Outage, Pin, RoomRules, Stop
from planning.verify import violations
from tests.planning.rooms import (
    BRIEF,
    job,
    printer,
    random_room,
    room,
    solved,
)


def test_pins_hold_and_the_rest_goes_around_them() -> None:
    problem = room(
        job("a", 60, "AB"),
        job("b", 60, "AB", pin=Pin(printer_id="B")),
        job("c", 30, "AB", pin=Pin(printer_id="A", setup_start=540)),
        job("d", 30, "AB", pin=Pin(after_plate_ids=("c",))),
        printers=(printer("A"), printer("B")),
    )
    plan = solved(problem, BRIEF)
    assert plan.unplaced == ()
    runs = {run.plate_id: run for run in plan.runs}
    assert runs["b"].printer_id == "B"
    assert (runs["c"].printer_id, runs["c"].setup_start) == ("A", 540)
    assert runs["d"].setup_start >= 540
    assert not (runs["a"].printer_id == "A" and runs["a"].setup_start < 540 < runs["a"].clear_end)


@pytest.mark.parametrize(
    ("pin", "because"),
    [
        (Pin(setup_start=470), "has passed"),
        (Pin(setup_start=725), "Nobody is free"),
        (Pin(setup_start=900), "staffed day ends"),
        (Pin(printer_id="B"), "not the printer it is pinned to"),
        (Pin(after_plate_ids=("b",)), "round in a circle"),
    ],
)
def test_a_pin_that_cannot_hold_leaves_the_plate_out_and_says_why(pin: Pin, because: str) -> None:
    plan = solved(room(job("a", 60, pin=pin), job("b", 60, pin=Pin(after_plate_ids=("a",)))))
    reasons = {note.plate_id: note.reason for note in plan.unplaced}
    assert because in reasons["a"]
    assert "b" in reasons, "what is pinned after it cannot be placed either"


def test_a_pinned_start_keeps_its_colour_on_the_printer() -> None:
    """The pin at 9:00 has no time set aside for a swap, so no blue plate may go before it."""
    problem = room(job("blue", 10, colour="blue"), job("red", 10, pin=Pin(setup_start=540)))
    plan = solved(problem, BRIEF)
    assert [run.plate_id for run in plan.runs] == ["red", "blue"]


def test_frozen_starts_do_not_move_even_when_moving_would_pay() -> None:
    shown = {"published_printer_id": "A", "published_setup_start": 520}
    problem = room(
        job("a", 60, **shown),
        job("b", 60, kit="k"),
        kits=(Kit("k", 560, 100),),
        rules=RoomRules(frozen_min=60),
    )
    runs = {run.plate_id: run for run in solved(problem, BRIEF).runs}
    assert (runs["a"].printer_id, runs["a"].setup_start) == ("A", 520)
    free = replace(problem, rules=RoomRules())
    assert {run.plate_id: run.setup_start for run in solved(free, BRIEF).runs}["b"] == 480


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_what_is_frozen_stays_to_the_minute_or_is_released_with_a_reason(seed: int) -> None:
    """Publish a plan, let an hour pass and a printer fail: inside the window nothing moves but for a named reason."""
    before = replace(random_room(seed), rules=RoomRules(change_penalty=0))
    shown = {run.plate_id: run for run in solve(before, Stop(iterations=60), seed).runs}
    now = before.now + 60
    plates = tuple(
        replace(
            plate,
            pin=Pin(),
            published_printer_id=shown[plate.id].printer_id if plate.id in shown else None,
            published_setup_start=shown[plate.id].setup_start if plate.id in shown else None,
        )
        for plate in before.plates
        if plate.id not in shown or shown[plate.id].setup_start >= now
    )
    broken = replace(before.printers[0], outages=(Outage(now, now + 400, "nozzle"),))
    after = replace(
        before, now=now, printers=(broken, *before.printers[1:]), plates=plates, rules=RoomRules(frozen_min=180)
    )
    plan = solve(after, Stop(iterations=60), seed)
    assert violations(after, plan) == []
    reasons = {note.plate_id: note.reason for note in (*plan.released, *plan.unplaced)}
    for plate in plates:
        start, run = plate.published_setup_start, plan.run_of(plate.id)
        if start is not None and start < now + 180 and (run is None or run.setup_start != start):
            assert reasons.get(plate.id), plate.id
        if start is not None and start < now + 180 and plate.id not in reasons:
            assert run is not None
            assert (run.printer_id, run.setup_start) == (plate.published_printer_id, start)


def test_a_frozen_start_on_a_broken_printer_is_released_with_the_reason() -> None:
    problem = room(
        job("a", 60, "AB", published_printer_id="A", published_setup_start=490),
        printers=(printer("A", outages=(Outage(480, 3000),)), printer("B")),
        rules=RoomRules(frozen_min=60),
    )
    plan = solved(problem)
    assert plan.runs[0].printer_id == "B"
    assert "out of service" in plan.released[0].reason


def test_published_starts_move_only_when_it_pays() -> None:
    """Swapping the two would save kit k 75 x 1 weighted minutes and change both published starts."""
    plates = (
        job("a", 60, published_printer_id="A", published_setup_start=480),
        job("b", 60, kit="k", published_printer_id="A", published_setup_start=555),
    )
    for penalty, first in ((0, "b"), (30, "b"), (50, "a")):
        problem = room(*plates, kits=(Kit("k", 555, 1),), rules=RoomRules(change_penalty=penalty))
        plan = solved(problem, BRIEF)
        assert plan.runs[0].plate_id == first, penalty
        assert plan.changes == (2 if first == "b" else 0)
