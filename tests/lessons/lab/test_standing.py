"""The ranking of a class and the verdicts on claims, worked out by hand."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab.claims import Says, choices, verdict
from lessons.lab.experiment import ExperimentError, read_experiment
from lessons.lab.results import ClassResult, Entry, class_result
from lessons.lab.standing import standings
from tests.lessons.lab.test_actions import enter, new
from tests.lessons.lab.test_designs import put
from tests.lessons.lab.test_experiment import GOOD
from tests.lessons.lab.test_results import OWN, entries, experiment
from tests.world import World

KIT = "starting wheel"


def a_class(**teams: list[Entry]) -> ClassResult:
    names = list(enumerate(teams, start=1))
    return class_result(experiment(), names, {key: teams[name] for key, name in names})


def test_what_is_ranked_and_where() -> None:
    """The predicted load when the plan names none; the plan's own; the last one tried when nothing is predicted."""
    assert experiment().compared_at == 100
    assert experiment(rank_at=200).compared_at == 200
    unpredicted = {**GOOD["changed"], "predicted": None}
    assert experiment(changed=unpredicted).compared_at == 200
    with pytest.raises(ExperimentError, match="only at a value they measure"):
        read_experiment({"experiment": {**GOOD, "rank_at": 50}})
    told = standings(experiment(), a_class(), OWN)
    assert told.ranked.startswith("Ranked: the mean time of the own wheel at 100\u00a0g, lowest first.")
    assert "highest first" in standings(experiment(best="high"), a_class(), OWN).ranked


def test_the_ranking_looks_at_its_load_and_at_no_other() -> None:
    """At 0 g the Hares are far ahead, at 100 g the Toads: mean 2.50 s, sd 0.01 s, interval -+ 4.303 x 0.01 / sqrt 3 =
    0.0248 s (t of 2 df: NIST/SEMATECH e-Handbook, 1.3.6.7.2)."""
    found = a_class(
        Hares=[*entries(0, 1.0, 1.01, 1.02), *entries(100, 2.70, 2.71, 2.72)],
        Toads=[*entries(0, 3.0, 3.01, 3.02), *entries(100, 2.49, 2.50, 2.51)],
        Moles=entries(100, 2.4, 2.4),
    )
    told = standings(experiment(), found, OWN)
    assert [row.team for row in told.rows] == ["Toads", "Hares"]
    assert told.rows[0].interval == "2.48 to 2.52\u00a0s"
    assert [row.verdict for row in told.rows] == ["best, shown", "behind, shown"]
    assert told.waiting == ["Moles"]  # two runs, however good, are no mean


def test_three_equal_times_are_no_exact_value() -> None:
    """2.60 s three times: the watch's steps leave 0.01 / sqrt(12) s a reading. Against 2.60, 2.61, 2.62 s nobody is
    best, and the equal ones are not dropped from the table."""
    found = a_class(Hares=entries(100, 2.60, 2.60, 2.60), Toads=entries(100, 2.60, 2.61, 2.62))
    told = standings(experiment(), found, OWN)
    assert [row.team for row in told.rows] == ["Hares", "Toads"]
    assert told.told.title == "The data do not name a best design"
    assert "Toads cannot be told apart" in told.told.text
    equal = a_class(Hares=entries(100, 2.60, 2.60, 2.60), Toads=entries(100, 2.60, 2.60, 2.60))
    assert len(standings(experiment(), equal, OWN).rows) == 2


def test_two_teams_of_one_name_both_stand() -> None:
    rows = {1: entries(100, 2.60, 2.61, 2.62), 2: entries(100, 2.70, 2.71, 2.72)}
    found = class_result(experiment(), [(1, "Hares"), (2, "Hares")], rows)
    assert [row.mean for row in standings(experiment(), found, OWN).rows] == ["2.61\u00a0s", "2.71\u00a0s"]


def of(found: ClassResult, says: Says) -> bool | None:
    judged = verdict(found.experiment, found, found.teams[0], says)
    assert judged is not None
    return judged.supported


def test_claims_the_data_bear_out_and_claims_they_do_not() -> None:
    """Kit 2.80, 2.82, 2.84 s and own 2.60, 2.62, 2.64 s at 100 g: -0.200 s, from -0.245 to -0.155 s (see test_designs).
    Prediction between 2.72 s and 2.52 s: 2.62 s, as measured. The more load, the lower the time: -0.001 s/g."""
    mine = [
        *entries(0, 2.70, 2.72, 2.74), *entries(200, 2.50, 2.52, 2.54), *entries(100, 2.60, 2.62, 2.64),
        *entries(100, 2.80, 2.82, 2.84, design=KIT),
    ]  # fmt: skip
    found = a_class(Hares=mine, Toads=entries(100, 2.62, 2.66, 2.70))
    assert of(found, Says.BETTER) is True
    assert of(found, Says.SAME) is False
    assert of(found, Says.HELD) is True
    assert of(found, Says.FALLS) is True
    assert of(found, Says.RISES) is False
    assert of(found, Says.BEST) is False  # in front, but the Toads cannot be told apart
    judged = verdict(found.experiment, found, found.teams[0], Says.BETTER)
    assert judged is not None
    assert "\u22120.200\u00a0s, from \u22120.245\u00a0s to \u22120.155\u00a0s" in judged.why


def test_what_is_not_shown_is_not_shown_to_be_equal() -> None:
    mine = [*entries(100, 2.6, 2.7, 2.8), *entries(100, 2.6, 2.7, 2.81, design=KIT)]
    found = a_class(Hares=mine)
    assert of(found, Says.BETTER) is False
    assert of(found, Says.SAME) is None
    nothing = a_class(Hares=[])
    assert {of(nothing, says) for says in Says} == {None}
    assert verdict(nothing.experiment, nothing, nothing.teams[0], "magic") is None


def test_the_better_way_is_the_experiments() -> None:
    mine = [*entries(100, 2.60, 2.62, 2.64), *entries(100, 2.80, 2.82, 2.84, design=KIT)]
    high = experiment(best="high")
    found = class_result(high, [(1, "Hares")], {1: mine})
    assert of(found, Says.BETTER) is False
    assert "higher time" in dict(choices(high))[Says.BETTER]


@pytest.mark.django_db
def test_the_board_shows_the_claim_the_verdict_and_the_ranking(lab: World, client: Client) -> None:
    put(lab, KIT, 100, 2.80, 2.82, 2.84)
    put(lab, OWN, 100, 2.81, 2.82, 2.83)
    client.force_login(lab.student)
    address = reverse("lessons:lab-argument", args=[lab.assignment.pk])
    words = {"says": "better", "claim": "Ours flies.", "evidence": "", "reasoning": "", "revision": "0"}
    client.post(address, words)
    page = client.get(address)
    assert page.context["page"].verdict.supported is False
    board = client.get(reverse("lessons:lab-board", args=[lab.assignment.pk])).content.decode()
    assert "the data do not support it" in board
    assert "“Ours flies.”" in board
    client.force_login(lab.teacher)
    client.post(reverse("lessons:lab-board-set", args=[lab.assignment.pk]), {"board": "frozen"})
    client.force_login(lab.student)
    client.post(address, {**words, "claim": "Ours sinks.", "revision": "1"})
    board = client.get(reverse("lessons:lab-board", args=[lab.assignment.pk])).content.decode()
    assert "Ours sinks." not in board  # frozen


@pytest.mark.django_db
def test_the_class_page_shows_every_team_as_one_series(lab: World, client: Client) -> None:
    client.force_login(lab.teacher)
    address = reverse("lessons:class-detail", args=[lab.school_class.pk])
    assert client.get(address).context["lab"] is None
    for trial, time in enumerate((2.80, 2.81, 2.82), start=1):
        enter(lab, new(trial=trial, measured=time))
    shown = client.get(address)
    assert [series.name for series in shown.context["lab"].chart.series] == [lab.team.name]
    assert "2.81\u00a0±\u00a00.01\u00a0s" in shown.content.decode()  # the table beside it


@pytest.mark.django_db
def test_a_note_is_pinned_to_a_point_and_taken_down(lab: World, client: Client) -> None:
    """The Hares' mean at 100 g, 2.62 s, gets a ring with a 1 beside it; students see it and cannot pin."""
    put(lab, OWN, 0, 2.60, 2.62, 2.64)
    put(lab, OWN, 100, 2.60, 2.62, 2.64)
    board, setting = (reverse(f"lessons:lab-{name}", args=[lab.assignment.pk]) for name in ("board", "board-set"))
    note = {"team": str(lab.team.pk), "value": "100", "pin": "<b>Why</b> no faster?"}
    client.force_login(lab.student)
    assert client.post(setting, note).status_code == 404
    client.force_login(lab.teacher)
    client.post(setting, note)
    page = client.get(board)
    (label,) = page.context["page"].chart.labels
    assert (label.x, label.y, label.text) == (100, pytest.approx(2.62), "1")
    assert "&lt;b&gt;Why&lt;/b&gt; no faster?" in page.content.decode()
    for wrong in ({"value": "50"}, {"team": str(lab.far_team.pk)}, {"value": ""}):
        assert client.post(setting, {**note, **wrong}).status_code == 404
    assert "Write what the note should say." in client.post(setting, {**note, "pin": " "}, follow=True).content.decode()
    for _number in range(8):
        client.post(setting, note)
    assert "nine are enough" in client.post(setting, note, follow=True).content.decode()
    for _number in range(9):
        client.post(setting, {"unpin": "1"})
    assert client.get(board).context["page"].chart.labels == []
    assert client.post(setting, {"unpin": "7"}).status_code == 302
