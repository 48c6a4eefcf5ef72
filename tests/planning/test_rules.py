"""Dispatch rules: orders by hand, and what every order must be."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.kitrules import kit_orders
from planning.room import compile_problem
from planning.rules import orders
from planning.types import Kit, Pin, Problem
from tests.planning.rooms import job, printer, random_room, school_calendar

KITS = (Kit("early", 600, 1), Kit("late", 2000, 9), Kit("also early", 600, 3), Kit("open", None, 1))
JOBS = (
    job("a", 30, kit="late", queue_position=2),
    job("b", 120, kit="early", queue_position=4),
    job("c", 60, kit="also early", queue_position=1),
    job("d", 20, kit="open", queue_position=3),
)
ROOM = Problem(school_calendar(), 480, (printer("A"),), JOBS, KITS)


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("FIFO", "cadb"),
        ("EDD", "cbad"),  # c and b are due together; c stands before b in the queue
        ("EDD+priority", "cbad"),
        ("WSPT", "acdb"),  # (p + 15) / w: 45/9, 75/3, 35/1, 135/1
    ],
)
def test_orders_by_hand(rule: str, expected: str) -> None:
    compiled = compile_problem(ROOM)
    assert "".join(compiled.plates[row].id for row in orders(compiled)[rule]) == expected


def test_apparent_tardiness_cost_is_wspt_when_all_is_late_and_slack_when_it_is_not() -> None:
    """With everything due long ago the slack term is 1 and the index is w / p: highest first."""
    overdue = replace(ROOM, kits=tuple(replace(kit, deadline_minute=480) for kit in KITS))
    compiled = compile_problem(overdue)
    assert "".join(compiled.plates[row].id for row in orders(compiled)["ATC 2/0"]) == "acdb"
    compiled = compile_problem(ROOM)
    assert compiled.plates[orders(compiled)["ATC 0.5/0"][-1]].id == "d", "what is never due comes last"


def test_a_pinned_order_is_kept_in_every_rule() -> None:
    pinned = replace(ROOM, plates=(replace(JOBS[0], pin=Pin(after_plate_ids=("b",))), *JOBS[1:]))
    compiled = compile_problem(pinned)
    for name, order in {**orders(compiled), **kit_orders(compiled)}.items():
        ids = [compiled.plates[row].id for row in order]
        assert ids.index("b") < ids.index("a"), name


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_every_order_has_every_plate_once(seed: int) -> None:
    compiled = compile_problem(random_room(seed))
    for name, order in {**orders(compiled), **kit_orders(compiled)}.items():
        assert sorted(order.tolist()) == list(range(len(compiled.plates))), name


def test_kit_orders_keep_kits_together() -> None:
    kits = (Kit("k", 700, 1), Kit("l", 700, 5))
    jobs = tuple(job(f"{kit}{at}", 30, kit=kit) for at in range(3) for kit in "kl")
    compiled = compile_problem(Problem(school_calendar(), 480, (printer("A"),), jobs, kits))
    for order in kit_orders(compiled).values():
        assert "".join(compiled.plates[row].id[0] for row in order) == "lllkkk"
