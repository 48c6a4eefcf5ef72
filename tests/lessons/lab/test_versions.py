"""Version 1 against version 2 of a team's own wheel: readings keep their version, figures and runs side by side."""

from __future__ import annotations

import uuid

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from lessons.lab import parts, queries
from lessons.lab.designs import designs_page
from lessons.lab.parts import LabPart
from lessons.lab.results import class_result, versioned
from lessons.models import Reading
from lessons.science.rolling import Wheel
from lessons.science.values import Measured
from tests.lessons.lab.test_results import OWN, Entry, experiment
from tests.world import World

FIRST, SECOND = versioned(OWN, 1), versioned(OWN, 2)


def runs(version: int | None, *times: float) -> list[Entry]:
    return [Entry(1000 * (version or 9) + n, OWN, 0, n, time, version=version) for n, time in enumerate(times, start=1)]


def test_two_versions_are_never_one_mean() -> None:
    """2.80, 2.82, 2.84 s with version 1 and 2.60, 2.62, 2.64 s with version 2: means 2.82 and 2.62 s, not 2.72 s."""
    rows = [*runs(1, 2.80, 2.82, 2.84), *runs(2, 2.60, 2.62, 2.64)]
    (team,) = class_result(experiment(), [(7, "Otters")], {7: rows}).teams
    assert [each.label for each in team.all_designs] == ["starting wheel", FIRST, SECOND]
    assert team.design(OWN).version == 2
    assert team.design(OWN).cell(0).mean == pytest.approx(2.62)
    assert team.design(FIRST).cell(0).mean == pytest.approx(2.82)
    assert team.runs_done == 3  # earlier versions are no part of what is still to be done


def test_one_version_alone_is_the_own_design_and_none_noted_stands_apart() -> None:
    (team,) = class_result(experiment(), [(7, "Otters")], {7: runs(1, 2.8, 2.9)}).teams
    assert team.earlier == ()
    assert team.design(OWN).version == 1
    mixed = [*runs(None, 2.9, 2.9, 2.9), *runs(1, 2.8)]
    (team,) = class_result(experiment(), [(7, "Otters")], {7: mixed}).teams
    assert [each.design for each in team.earlier] == ["own wheel, version not noted"]
    assert team.design(OWN).cell(0).readings == (2.8,)


def wheel(version: int, grams: float) -> LabPart:
    made = Wheel(Measured(grams / 1000, 0.0001), Measured(4.98e-6, 1e-8), Measured(0.03, 0.0001))
    return LabPart(f"version {version}", grams, made, (60.0, 60.0, 8.0), 3.2, 24.0, version)


@pytest.fixture
def two_versions(monkeypatch: pytest.MonkeyPatch) -> None:
    """Version 2 approved after version 1."""
    found = {OWN: wheel(2, 5.3), FIRST: wheel(1, 9.5), SECOND: wheel(2, 5.3)}
    monkeypatch.setattr(
        parts, "_sources", [lambda _assignment, teams, _experiment: {team.pk: dict(found) for team in teams}]
    )


def put(world: World, version: int, *times: float) -> None:
    for trial, each in enumerate(times, start=1):
        Reading.objects.create(
            assignment=world.assignment, team=world.team, entry=uuid.uuid4(), design=OWN, version=version, changed=0,
            trial=trial, measured=each, measured_at=timezone.now(),
        )  # fmt: skip


@pytest.mark.django_db
@pytest.mark.usefixtures("two_versions")
def test_mesh_figures_and_lab_figures_side_by_side(lab: World) -> None:
    """The page begins with the two newest versions. -0.200 s, from -0.245 to -0.155 s as in test_designs."""
    put(lab, 1, 2.80, 2.82, 2.84)
    put(lab, 2, 2.60, 2.62, 2.64)
    found = queries.experiment_of(lab.assignment)
    assert found is not None
    page = designs_page(lab.assignment, found, lab.team, "", "")
    assert (page.before, page.after) == (FIRST, OWN)
    assert page.names == [FIRST, "own wheel (version 2)"]
    mass = next(row for row in page.figures if row.label == "Mass")
    assert (mass.values, mass.change) == (["9.5\u00a0g", "5.3\u00a0g"], "\u22124.2\u00a0g")
    assert (page.tests[0].difference, page.tests[0].interval) == ("\u22120.200", "\u22120.245 to \u22120.155")


@pytest.mark.django_db
@pytest.mark.usefixtures("two_versions")
def test_the_sheet_notes_the_version_on_the_cart(lab: World, client: Client) -> None:
    """Nothing run yet: the own wheel is version 2, version 1 can be chosen; each reading keeps its own."""
    client.force_login(lab.student)
    sheet, send = (reverse(f"lessons:lab-{name}", args=[lab.assignment.pk]) for name in ("sheet", "enter"))
    page = client.get(sheet, {"design": OWN, "at": "0"}).context["page"]
    assert (page.base, page.version) == (OWN, 2)
    assert [each.label for each in page.choices] == ["starting wheel", OWN, FIRST]
    old = client.get(sheet, {"design": FIRST, "at": "0"})
    assert (old.context["page"].base, old.context["page"].version) == (OWN, 1)
    assert 'data-version="1"' in old.content.decode()
    for version, time in ((1, 2.8), (2, 2.6), (1, 2.9)):
        row = {"entry": str(uuid.uuid4()), "design": OWN, "version": version, "changed": 0, "measured": time}
        answer = client.post(send, {"readings": [row]}, content_type="application/json").json()["readings"][0]
        assert answer["kept"], answer
    assert list(Reading.objects.values_list("version", "trial")) == [(1, 1), (2, 1), (1, 2)]  # trials of each its own
    first = client.get(sheet, {"design": FIRST, "at": "0"}).context["page"]
    assert first.at.readings == (2.8, 2.9)
    second = client.get(sheet, {"design": SECOND, "at": "0"}).context[
        "page"
    ]  # an address from before still leads there
    assert (second.at.readings, second.version) == ((2.6,), 2)
    fixed = {
        "entry": str(uuid.uuid4()),
        "design": OWN,
        "changed": 0,
        "measured": 2.7,
        "replaces": first.at.entries[0].pk,
    }
    client.post(send, {"readings": [fixed]}, content_type="application/json")
    assert Reading.objects.latest("pk").version == 1  # a correction stays with its version
    kit = {"entry": str(uuid.uuid4()), "design": "starting wheel", "version": 2, "changed": 0, "measured": 2.7}
    client.post(send, {"readings": [kit]}, content_type="application/json")
    assert Reading.objects.latest("pk").version is None


@pytest.mark.django_db
@pytest.mark.usefixtures("two_versions")
def test_what_is_expected_is_of_the_version_that_was_run(lab: World, client: Client) -> None:
    put(lab, 1, 2.80, 2.82, 2.84)
    client.force_login(lab.student)
    page = client.get(reverse("lessons:lab-physics", args=[lab.assignment.pk])).context["page"]
    assert page.wheel.mass_kg.value == pytest.approx(0.0095)  # version 2, 5.3 g, is approved but was not on the cart
