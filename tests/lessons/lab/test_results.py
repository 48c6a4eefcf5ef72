"""A team's results worked out by hand, and what a class may claim."""

from __future__ import annotations

import math

import pytest

from lessons.lab.experiment import Experiment, read_experiment
from lessons.lab.results import ClassResult, Entry, class_result
from lessons.science.compare import Comparison, Gap, Ranking
from lessons.science.summary import RangeOnly, Summary
from lessons.science.values import Measured, Unknown
from tests.lessons.lab.test_experiment import GOOD

OWN = "own wheel"


def experiment(**changes: object) -> Experiment:
    found = read_experiment({"experiment": {**GOOD, **changes}})
    assert found is not None
    return found


def entries(value: float, *times: float | None, design: str = OWN, start: int = 1, note: str = "") -> list[Entry]:
    return [
        Entry(int(value * 100) + number, design, value, number, time, note=note)
        for number, time in enumerate(times, start=start)
    ]


def one_team(*rows: list[Entry], what: Experiment | None = None) -> ClassResult:
    return class_result(what or experiment(), [(7, "Otters")], {7: [entry for row in rows for entry in row]})


def test_prediction_and_gap_by_hand() -> None:
    """Means 1.30 at 0 g and 1.24 at 200 g: 1.27 halfway (FACTS 7, row interp, with other loads); measured 1.25:
    100 (1.25 - 1.27) / 1.27 = -1.575 %. Uncertainty of the middle of two means: half of their root sum of squares."""
    found = one_team(entries(0, 1.28, 1.30, 1.32), entries(200, 1.22, 1.24, 1.26), entries(100, 1.23, 1.25, 1.27))
    result = found.teams[0].design(OWN)
    assert isinstance(result.prediction, Measured)
    assert result.prediction.value == pytest.approx(1.27, abs=1e-12)
    mean_error = math.hypot(0.02 / math.sqrt(3), 0.01 / math.sqrt(12))
    assert result.prediction.uncertainty == pytest.approx(mean_error * math.sqrt(2) / 2, rel=1e-6)
    assert isinstance(result.gap, Gap)
    assert isinstance(result.gap.percent, Measured)
    assert result.gap.percent.value == pytest.approx(-1.5748, abs=1e-4)
    assert result.gap.agree
    assert result.is_complete
    assert not found.teams[0].is_complete  # the starting wheel has not been run


def test_two_trials_give_a_range_and_no_prediction() -> None:
    result = one_team(entries(0, 1.28, 1.30), entries(200, 1.22, 1.24, 1.26)).teams[0].design(OWN)
    assert isinstance(result.cell(0).summary, RangeOnly)
    assert isinstance(result.prediction, Unknown)
    assert "three trials" in result.prediction.because
    assert result.next_cell is result.cell(0)
    assert result.cell(0).next_trial == 3


def test_an_odd_time_is_asked_about_and_never_dropped() -> None:
    found = one_team(entries(0, 2.80, 2.82, 3.60)).teams[0].design(OWN).cell(0)
    assert found.question is not None
    assert found.question.index == 2
    assert isinstance(found.summary, Summary)
    assert found.summary.n == 3
    kept = one_team(entries(0, 2.80, 2.82), entries(0, 3.60, start=3, note="wheel rubbed")).teams[0].design(OWN).cell(0)
    assert kept.question is None
    assert kept.summary.n == 3  # type: ignore[union-attr]


def test_a_run_left_out_with_its_reason_counts_as_done_and_not_in_the_mean() -> None:
    left = Entry(9, OWN, 0, 3, 9.9, left_out=True, note="hand slipped")
    cell = one_team(entries(0, 2.80, 2.84), [left]).teams[0].design(OWN).cell(0)
    assert cell.is_complete
    assert cell.mean == pytest.approx(2.82)
    no_value = one_team(entries(0, 2.80, None, 2.84)).teams[0].design(OWN).cell(0)
    assert no_value.is_complete
    assert no_value.mean == pytest.approx(2.82)


def test_weighed_loads_move_the_prediction() -> None:
    """Loads really weighed 10 and 190 g, so 100 g is still halfway; weighed 0 and 150 g it is two thirds of the way."""
    what = experiment(weigh=True)

    def rows(value: float, weighed: float, *times: float) -> list[Entry]:
        return [Entry(int(value) + n, OWN, value, n, time, weighed) for n, time in enumerate(times, start=1)]

    halfway = one_team(rows(0, 10, 1.3, 1.3, 1.31), rows(200, 190, 1.24, 1.24, 1.25), what=what).teams[0].design(OWN)
    further = one_team(rows(0, 0, 1.3, 1.3, 1.3), rows(200, 150, 1.24, 1.24, 1.24), what=what).teams[0].design(OWN)
    assert isinstance(halfway.prediction, Measured)
    assert halfway.prediction.value == pytest.approx((1.30333 + 1.24333) / 2, abs=1e-4)
    assert isinstance(further.prediction, Measured)
    assert further.prediction.value == pytest.approx(1.3 - 0.06 * 100 / 150, abs=1e-9)


def test_a_fitted_line_through_three_values() -> None:
    """y = 3 - 0.002 x exactly: 2.7 at 150 g."""
    changed = {"name": "load", "unit": "g", "tried": [0, 100, 200], "predicted": 150}
    what = experiment(changed=changed, predict_by="fitted_line")
    found = one_team(*(entries(x, 3 - 0.002 * x, 3 - 0.002 * x) for x in (0, 100, 200)), what=what)
    prediction = found.teams[0].design(OWN).prediction
    assert isinstance(prediction, Measured)
    assert prediction.value == pytest.approx(2.7, abs=1e-9)


def test_designs_of_a_team_are_compared_by_welch() -> None:
    """By hand: means 2.80 and 2.60, both s = 0.02, n = 3: t = 0.2 / sqrt(2 x 0.0004 / 3) = 12.25."""
    found = (
        one_team(entries(0, 2.78, 2.80, 2.82, design="starting wheel"), entries(0, 2.58, 2.60, 2.62))
        .teams[0]
        .compare("starting wheel", OWN, 0)
    )
    assert isinstance(found, Comparison)
    assert found.t == pytest.approx(12.247, abs=1e-3)
    assert found.told_apart
    assert isinstance(one_team(entries(0, 2.6)).teams[0].compare("starting wheel", OWN, 0), Unknown)


def test_a_class_names_a_winner_only_by_evidence() -> None:
    teams = [(1, "Hares"), (2, "Toads")]
    close = class_result(experiment(), teams, {1: entries(0, 2.5, 2.6, 2.7), 2: entries(0, 2.55, 2.62, 2.73)})
    clear = class_result(experiment(), teams, {1: entries(0, 2.5, 2.52, 2.54), 2: entries(0, 3.5, 3.52, 3.54)})
    for found, winner in ((close, None), (clear, "1")):
        ranking = found.ranking(OWN, 0)
        assert isinstance(ranking, Ranking)
        assert ranking.winner == winner
    assert isinstance(close.ranking(OWN, 200), Unknown)


def test_what_the_class_can_tell_apart_comes_from_its_own_scatter() -> None:
    """Pooled scatter of two sets with s = 0.1 is 0.1; two means of three then differ from 2.776 x 0.1 x sqrt(2/3)."""
    found = class_result(
        experiment(), [(1, "Hares"), (2, "Toads")], {1: entries(0, 2.5, 2.6, 2.7), 2: entries(200, 2.4, 2.5, 2.6)}
    )
    assert found.smallest_difference() == pytest.approx(2.7764 * 0.1 * math.sqrt(2 / 3), abs=1e-4)
    assert isinstance(class_result(experiment(), [(1, "Hares")], {}).smallest_difference(), Unknown)


def test_readings_of_designs_no_longer_in_the_plan_do_not_disturb() -> None:
    found = one_team(entries(0, 2.5, design="old"), entries(55, 2.5))
    assert found.runs_done == 0
    assert found.runs_wanted == 18
