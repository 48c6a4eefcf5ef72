"""Designs side by side, worked out by hand; experiments that time nothing and have no model."""

from __future__ import annotations

import uuid

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from lessons.lab import designs, queries
from lessons.lab.designs import DesignsPage, designs_page
from lessons.lab.parts import LabPart
from lessons.models import Reading, Team
from lessons.science.rolling import Wheel
from lessons.science.values import Measured
from tests.world import World

pytestmark = pytest.mark.django_db
FIRST, OWN = "starting wheel", "own wheel"
PITCH = {
    "changed": {"name": "blade pitch", "unit": "deg", "tried": [10, 30]},
    "measured": {"name": "voltage", "unit": "V", "decimals": 0},
    "designs": ["starting blade", "own blade"],
    "best": "high",
}


def put(world: World, design: str, value: float, *measured: float) -> None:
    for trial, each in enumerate(measured, start=1):
        Reading.objects.create(
            assignment=world.assignment, team=world.team, entry=uuid.uuid4(), design=design, changed=value,
            trial=trial, measured=each, measured_at=timezone.now(),
        )  # fmt: skip


def page(world: World) -> DesignsPage:
    experiment = queries.experiment_of(world.assignment)
    assert experiment is not None
    return designs_page(world.assignment, experiment, world.team, "", "")


def test_welch_by_hand(lab: World) -> None:
    """Means 2.82 s and 2.62 s, sd 0.02 s each: difference -0.200 s, standard error 0.02 sqrt(2/3) = 0.01633 s, df 4,
    t(0.975, 4) = 2.776 (table of t in the NIST/SEMATECH e-Handbook, 1.3.6.7.2): from -0.245 s to -0.155 s."""
    put(lab, FIRST, 0, 2.80, 2.82, 2.84)
    put(lab, OWN, 0, 2.60, 2.62, 2.64)
    put(lab, FIRST, 200, 2.50, 2.60, 2.70)
    put(lab, OWN, 200, 2.51, 2.60, 2.69)
    empty, middle, loaded = page(lab).tests
    assert (empty.difference, empty.interval) == ("\u22120.200", "\u22120.245 to \u22120.155")
    assert (empty.told_apart, middle.told_apart, loaded.told_apart) == (True, None, False)
    assert "At 0\u00a0g" in page(lab).told[0].text


def test_when_nothing_stands_out_it_is_said(lab: World) -> None:
    put(lab, FIRST, 200, 2.50, 2.60, 2.70)
    put(lab, OWN, 200, 2.51, 2.60, 2.69)
    assert page(lab).told[0].title == "The data cannot tell the two apart"


def test_the_parts_side_by_side(lab: World, monkeypatch: pytest.MonkeyPatch) -> None:
    def wheel(grams: float, hole: float) -> LabPart:
        made = Wheel(Measured(grams / 1000, 0.0001), Measured(4.98e-6, 1e-8), Measured(0.03, 0.0001))
        return LabPart("version 2", grams, made, (60.0, 60.0, 8.0), hole, 24.4)

    found = {FIRST: wheel(9.5, 3.2), OWN: wheel(5.3, 3.2)}
    monkeypatch.setattr(designs, "parts_of", lambda *_args: found)
    rows = {row.label: row for row in page(lab).figures}
    assert rows["Mass"].values == ["9.5\u00a0g", "5.3\u00a0g"]
    assert rows["Mass"].change == "\u22124.2\u00a0g"
    assert rows["Hub hole"].change == ""
    assert rows["Printing"].values[0] == "24\u00a0min"
    assert "mass \u22124.2" in page(lab).told[0].text


@pytest.mark.parametrize("name", ["board", "physics", "designs", "coasting", "sheet", "argument", "paper"])
def test_a_page_asks_no_more_for_more_teams(
    lab: World, client: Client, name: str, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(3, 11):
        Team.objects.create(school_class=lab.school_class, number=number, name=f"Team {number}", tray=number + 40)
    put(lab, OWN, 0, 2.6, 2.7, 2.8)
    client.force_login(lab.teacher)
    with django_assert_max_num_queries(10):
        client.get(reverse(f"lessons:lab-{name}", args=[lab.assignment.pk]), {"team": lab.team.pk})


def test_only_its_own_team_and_staff_see_it(lab: World, client: Client) -> None:
    put(lab, OWN, 0, 2.6, 2.7, 2.8)
    url = reverse("lessons:lab-designs", args=[lab.assignment.pk])
    client.force_login(lab.student)
    assert client.get(url, {"team": lab.second_team.pk}).context["page"].team.key == lab.team.pk
    client.force_login(lab.other_teacher)
    assert client.get(url).status_code == 404


def test_an_experiment_that_times_nothing(lab: World, client: Client) -> None:
    """No stopwatch, no prediction, no model: every page, the report and the files still work."""
    lab.plan.content = {"experiment": PITCH}
    lab.plan.save()
    put(lab, "starting blade", 10, 2, 3, 4)
    put(lab, "own blade", 10, 5, 6, 7)
    put(lab, "own blade", 30, 1, 2)
    client.force_login(lab.teacher)
    pages = {}
    for name in ("sheet", "board", "physics", "argument", "designs", "report", "paper"):
        answer = client.get(reverse(f"lessons:lab-{name}", args=[lab.assignment.pk]), {"team": lab.team.pk})
        assert answer.status_code == 200, name
        pages[name] = answer
    sheet = pages["sheet"].content.decode()
    assert "data-watch-face" not in sheet
    assert "Voltage" in sheet
    assert "names no model" in pages["physics"].content.decode()
    assert pages["report"].content.startswith(b"%PDF")
    for kind in ("csv", "json"):
        assert client.get(reverse("lessons:lab-results", args=[lab.assignment.pk, kind])).status_code == 200
    assert client.get(reverse("lessons:lab-coasting", args=[lab.assignment.pk])).status_code == 404
