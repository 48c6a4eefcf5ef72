"""The compiled kernels by name, each with a call that compiles it or loads it from disk: for a visible progress bar."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from planning.calendar import always_staffed
from planning.forecast import forecast
from planning.plates import lay_out
from planning.schedule import rule_plans, solve
from planning.types import Bed, Circle, Hull, Item, Kit, PlateJob, PrinterState, Problem, Rectangle, Risk, Shape, Stop


def kernels() -> Sequence[tuple[str, Callable[[], None]]]:
    """What to call before the first real plan, in this order; each takes seconds once and milliseconds afterwards."""
    return (
        ("plates", _plates),
        ("timetable", _timetable),
        ("plan search", _search),
        ("proof", _proof),
        ("forecast", _forecast),
    )


def _plates() -> None:
    wedge = Hull(((0.0, 0.0), (40.0, 0.0), (0.0, 30.0)))
    for footprint in (Circle(30.0), wedge):
        lay_out([Item("a", Shape(footprint, 10.0), "PLA", "red")], Bed.rectangle(220.0, 220.0, 200.0))
    # by their area they might stand on one plate, so that they are packed as boxes too
    two = [Item(name, Shape(Rectangle(120.0, 120.0), 10.0), "PLA", "red") for name in "ab"]
    lay_out(two, Bed.rectangle(220.0, 220.0, 200.0))


def _problem() -> Problem:
    plates = tuple(PlateJob(name, ("k",), "PLA", "red", 10.0, {"A": 30}) for name in "ab")
    printer = PrinterState("A", "A", 0, material="PLA", colour="red", spool_g=500.0)
    return Problem(always_staffed(1000), 0, (printer,), plates, (Kit("k", 60),))


def _timetable() -> None:
    rule_plans(_problem())


def _search() -> None:
    solve(_problem(), Stop(iterations=2, prove=False))


def _proof() -> None:
    """Nothing is compiled, but the library takes half a second to load."""
    solve(_problem(), Stop(iterations=1))


def _forecast() -> None:
    problem = _problem()
    forecast(problem, solve(problem, Stop(iterations=0)), Risk(0.1, 0.1, 0.1), samples=1)
