"""Reading an experiment from a plan: the demo's, and every fault told in a sentence."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from lessons.lab.experiment import Best, ExperimentError, PredictBy, read_experiment
from lessons.lab.units import is_unit
from lessons.science.summary import HAND_TIMING
from makerlab.demo import fixtures

GOOD: dict[str, Any] = {
    "changed": {"name": "load", "unit": "g", "tried": [0, 200], "predicted": 100},
    "measured": {"name": "time", "unit": "s", "decimals": 2},
    "trials": 3,
    "designs": ["starting wheel", "own wheel"],
    "track_length_m": 3.0,
    "track_rise_m": 0.3,
    "cart": {"body_g": 54.3, "wheels": 4},
    "constant": ["the start line"],
}


def test_a_whole_experiment() -> None:
    found = read_experiment({"experiment": GOOD})
    assert found is not None
    assert (found.values, found.trials, found.designs) == ((0, 200, 100), 3, ("starting wheel", "own wheel"))
    assert (found.best, found.predict_by, found.scatter) == (Best.LOW, PredictBy.LINE_BETWEEN, HAND_TIMING)
    assert found.ramp is not None
    assert found.ramp.steepness == pytest.approx(0.1)
    assert found.cart is not None
    assert found.runs_of_a_team() == 9
    assert found.measured.resolution == pytest.approx(0.01)


@pytest.mark.parametrize("plan", fixtures.lesson_plans(), ids=lambda plan: str(plan["code"]))
def test_the_experiments_of_the_demo_can_be_run(plan: dict[str, Any]) -> None:
    found = read_experiment(plan["content"])
    assert found is not None
    assert len(found.values) >= 2


def test_a_plan_without_an_experiment_has_none() -> None:
    assert read_experiment({}) is None


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("changed", "unit"), "parsec of cheese", "not a unit"),
        (("changed", "unit"), "__import__('os')", "not a unit"),
        (("changed", "name"), " ", "a name"),
        (("changed", "tried"), [], "1 to 12"),
        (("changed", "tried"), "0, 200", "list of numbers"),
        (("changed", "tried"), [0, "many"], "must be a number"),
        (("changed", "tried"), [0, float("nan")], "must be a number"),
        (("changed", "tried"), [0, 0], "twice"),
        (("changed", "predicted"), 200, "another one"),
        (("measured", "decimals"), 9, "whole number from 0 to 4"),
        (("trials",), 0, "whole number from 1"),
        (("trials",), True, "whole number from 1"),
        (("designs",), ["a", "a"], "names of their own"),
        (("best",), "shiny", "no answer"),
        (("track_rise_m",), 4.0, "more than it is long"),
        (("track_length_m",), -1, "above 0"),
        (("cart",), "wooden", "table of fields"),
        (("changed",), "load", "says nothing of"),
    ],
)
def test_each_fault_is_told(path: tuple[str, ...], value: Any, said: str) -> None:
    raw = copy.deepcopy(GOOD)
    place = raw
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    with pytest.raises(ExperimentError, match=said):
        read_experiment({"experiment": raw})


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(ExperimentError) as told:
        read_experiment({"experiment": {"changed": {"unit": "glorp"}, "measured": {}, "trials": "three"}})
    assert len(told.value.problems) >= 4


@pytest.mark.parametrize("unit", ["g", "m/s", "V", "mm", "degree", "°", "%", "N", ""])
def test_known_units(unit: str) -> None:
    assert is_unit(unit)


@pytest.mark.parametrize("unit", ["wheels", "s" * 40, "a\nb", "1e999"])
def test_unknown_units(unit: str) -> None:
    assert not is_unit(unit)
