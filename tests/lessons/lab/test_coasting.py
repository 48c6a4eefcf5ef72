"""Coast-downs: the loss by hand, who may write them down, and that the expected times use them."""

from __future__ import annotations

import csv
import io

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab import parts, physics, queries
from lessons.lab.expectation import expectation_page
from lessons.lab.parts import LabPart
from lessons.models import Coasting
from lessons.science.rolling import Losses, Wheel
from lessons.science.values import Measured
from makerlab.audit.models import Event
from tests.world import World

pytestmark = pytest.mark.django_db
OWN = "own wheel"


@pytest.fixture
def wheel(monkeypatch: pytest.MonkeyPatch) -> LabPart:
    made = Wheel(Measured(0.0095, 0.0001), Measured(4.98e-6, 1e-8), Measured(0.03, 0.0001))
    found = LabPart("version 1", 9.5, made)
    monkeypatch.setattr(
        parts, "_sources", [lambda _assignment, teams, _experiment: {team.pk: {OWN: found} for team in teams}]
    )
    return found


def url(world: World) -> str:
    return reverse("lessons:lab-coasting", args=[world.assignment.pk])


def roll(client: Client, world: World, length: str = "2,0", time: str = "6") -> int:
    return client.post(url(world), {"team": world.team.pk, "design": OWN, "length": length, "time": time}).status_code


def test_the_loss_by_hand(lab: World, client: Client, wheel: LabPart) -> None:
    """2 m in 6 s: b = 2 x 2 / 36 = 0.11111 m/s2; m = 0.0543 + 4 x 0.0095 = 0.0923 kg, 4 I / R2 = 0.02213 kg;
    c = 0.11111 x 0.11443 / (0.0923 x 9.80665) = 0.014047."""
    client.force_login(lab.student)
    assert roll(client, lab) == 302
    experiment = queries.experiment_of(lab.assignment)
    assert experiment is not None
    found = physics.coasting_losses(experiment, Coasting.objects.all(), {OWN: wheel})
    assert isinstance(found, Losses)
    assert found.share.value == pytest.approx(0.014047, rel=1e-3)
    told = client.get(url(lab)).context["page"].told
    # u(b) / b = hypot(0.01 / 2, 2 x 0.10 / 6) = 0.0337, and 3 % of the cart's mass and spin counts little beside it
    assert told.title == "Rolling and bearings take 1.40\u00a0±\u00a00.05 in 100 of the weight"
    assert "the team's own coast-downs" in told.text
    assert "from 1.31 to 1.50" in told.text  # 1.4047 -+ 1.96 x 0.0474
    page = expectation_page(lab.assignment, experiment, lab.team, OWN)
    assert page.used_losses.share.value == pytest.approx(found.share.value)
    assert page.told[0].title == told.title


def test_marks_and_a_known_speed_tell_the_loss_as_well(lab: World, client: Client, wheel: LabPart) -> None:
    """As in test_coasting of science: 0.9 m in 1 s, then 1.6 m to rest; or 0.8 m/s, then 1.6 m: b = 0.2 m/s2 both,
    c = 0.2 x 0.11443 / (0.0923 x 9.80665) = 0.025285."""
    client.force_login(lab.student)
    own = {"team": lab.team.pk, "design": OWN, "length": "1,6"}
    assert client.post(url(lab), {**own, "how": "marks", "marks": "0.9", "time": "1"}).status_code == 302
    assert client.post(url(lab), {**own, "how": "speed", "speed": "0.8"}).status_code == 302
    page = client.get(url(lab)).context["page"]
    assert [view.speed for view in page.views] == ["0.80\u00a0m/s"] * 2
    assert [view.share[:4] for view in page.views] == ["2.53", "2.53"]
    assert client.post(url(lab), {**own, "how": "speed", "speed": ""}).status_code == 422
    assert client.get(url(lab), {"how": "by magic"}).context["how"] == "rest"


def test_coast_downs_stand_in_report_and_files(lab: World, client: Client, wheel: LabPart) -> None:
    client.force_login(lab.student)
    roll(client, lab)
    report = client.get(reverse("lessons:lab-report", args=[lab.assignment.pk]))
    text = "\n".join(each.get_textpage().get_text_range() for each in pypdfium2.PdfDocument(report.content))
    text = text.replace("\u00a0", " ").replace("\r\n", " ")
    for part in ("6.00 s to rest", "2.00 m", "0.67 m/s", "1.40 ± 0.05", "own coast-downs"):
        assert part in text, part
    client.force_login(lab.teacher)
    told = client.get(reverse("lessons:lab-results", args=[lab.assignment.pk, "json"])).json()["coast_downs"]
    assert [(row["way_to_rest_m"], row["time_s"], row["speed_at_mark_m_s"]) for row in told] == [(2.0, 6.0, None)]
    assert told[0]["loss_share"] == pytest.approx(0.014047, rel=1e-3)
    csv_text = client.get(reverse("lessons:lab-results", args=[lab.assignment.pk, "csv"])).content.decode()
    (row,) = (row for row in csv.DictReader(io.StringIO(csv_text)) if row["kind"] == "coast-down")
    assert (row["kind"], row["team"], row["way_to_rest_m"], row["measured"]) == ("coast-down", lab.team.name, "2.0", "")


@pytest.mark.parametrize(("length", "time"), [("", "6"), ("2", "zero"), ("-1", "6"), ("2", "9999"), ("nan", "6")])
def test_what_cannot_be_is_told_and_kept_in_the_field(lab: World, client: Client, length: str, time: str) -> None:
    client.force_login(lab.student)
    answer = client.post(url(lab), {"team": lab.team.pk, "design": OWN, "length": length, "time": time})
    assert answer.status_code == 422
    assert '<p class="error"' in answer.content.decode()
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
