"""Coast-downs: the loss by hand, who may write them down, and that the expected times use them."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab import physics, queries
from lessons.lab.expectation import expectation_page
from lessons.models import Coasting
from lessons.science.rolling import Losses, Wheel
from lessons.science.values import Measured
from makerlab.audit.models import Event
from tests.world import World

pytestmark = pytest.mark.django_db
OWN = "own wheel"


@pytest.fixture
def wheel(monkeypatch: pytest.MonkeyPatch) -> physics.LabWheel:
    made = Wheel(Measured(0.0095, 0.0001), Measured(4.98e-6, 1e-8), Measured(0.03, 0.0001))
    found = physics.LabWheel("version 1", made)
    monkeypatch.setattr(
        physics, "wheels_of_teams", lambda _assignment, teams, _experiment: {team.pk: {OWN: found} for team in teams}
    )
    return found


def url(world: World) -> str:
    return reverse("lessons:lab-coasting", args=[world.assignment.pk])


def roll(client: Client, world: World, length: str = "2,0", time: str = "6") -> int:
    return client.post(url(world), {"team": world.team.pk, "design": OWN, "length": length, "time": time}).status_code


def test_the_loss_by_hand(lab: World, client: Client, wheel: physics.LabWheel) -> None:
    """2 m in 6 s: b = 2 x 2 / 36 = 0.11111 m/s2; m = 0.0543 + 4 x 0.0095 = 0.0923 kg, 4 I / R2 = 0.02213 kg;
    c = 0.11111 x 0.11443 / (0.0923 x 9.80665) = 0.014047."""
    client.force_login(lab.student)
    assert roll(client, lab) == 302
    experiment = queries.experiment_of(lab.assignment)
    assert experiment is not None
    found = physics.coasting_losses(experiment, Coasting.objects.all(), {OWN: wheel})
    assert isinstance(found, Losses)
    assert found.share.value == pytest.approx(0.014047, rel=1e-3)
    assert "1.40, from" in client.get(url(lab)).content.decode()
    page = expectation_page(lab.assignment, experiment, lab.team, OWN)
    assert page.used_losses.share.value == pytest.approx(found.share.value)
    assert "your own coast-downs" in page.told[0].text


@pytest.mark.parametrize(("length", "time"), [("", "6"), ("2", "zero"), ("-1", "6"), ("2", "9999"), ("nan", "6")])
def test_what_cannot_be_is_told_and_kept_in_the_field(lab: World, client: Client, length: str, time: str) -> None:
    client.force_login(lab.student)
    answer = client.post(url(lab), {"team": lab.team.pk, "design": OWN, "length": length, "time": time})
    assert answer.status_code == 422
    assert "Write a number from" in answer.content.decode()
    assert f'value="{length}"' in answer.content.decode()
    assert not Coasting.objects.exists()


def test_one_is_taken_out_by_its_team_only(lab: World, client: Client) -> None:
    client.force_login(lab.student)
    roll(client, lab)
    remove = reverse("lessons:coasting-remove", args=[Coasting.objects.get().pk])
    for other in (lab.far_student, lab.other_teacher):
        client.force_login(other)
        assert client.post(remove).status_code == 404
    client.force_login(lab.student)
    assert client.post(remove).status_code == 302
    assert not Coasting.objects.exists()
    assert Event.objects.filter(verb="remove coasting").exists()
