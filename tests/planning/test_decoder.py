"""The decoder's choice of printer between one that is done sooner and one that needs no change of spool."""

from __future__ import annotations

import numpy as np
import pytest

from planning.decoder import REJECTED, decode, empty_timetable
from planning.room import compile_problem
from planning.types import Problem
from tests.planning.rooms import job, printer, school_calendar


@pytest.mark.parametrize(("aversion", "chosen", "swaps"), [(0, "A", 1), (40, "A", 1), (41, "B", 0), (5000, "B", 0)])
def test_a_swap_is_avoided_when_waiting_costs_less_than_the_aversion(aversion: int, chosen: str, swaps: int) -> None:
    """Red on A: swapped 480-495, printed to 555, cleared 565. On B, free from 530: 535, 595, 605: 40 minutes later."""
    printers = (printer("A", colour="blue"), printer("B", ready=530))
    problem = Problem(school_calendar(), 480, printers, (job("a", 60, "AB"),), ())
    compiled = compile_problem(problem)
    table = empty_timetable(compiled.room)
    anywhere = np.full(1, -1, np.int32)
    assert decode(compiled.room, table, np.zeros(1, np.int32), anywhere, REJECTED, np.int64(aversion))
    assert compiled.printers[int(table.runs[0]["printer"])].id == chosen
    assert (int(table.runs[0]["swap"]), int(table.cost[2])) == (swaps, swaps)
    assert int(table.runs[0]["clear"]) == (555 if chosen == "A" else 595), "the aversion itself takes no time"


def test_the_only_printer_is_taken_however_great_the_aversion() -> None:
    """At the very end of the calendar too, where the aversion would lead past it."""
    problem = Problem(school_calendar(days=1), 480, (printer("A", ready=800, colour="blue"),), (job("a", 60),), ())
    compiled = compile_problem(problem)
    table = empty_timetable(compiled.room)
    none = np.full(1, -1, np.int32)
    assert decode(compiled.room, table, np.zeros(1, np.int32), none, REJECTED, np.int64(100_000))
    assert int(table.runs[0]["setup"]) == 800
