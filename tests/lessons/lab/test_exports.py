"""Results as files: read back by the standard library, and no cell is a formula."""

from __future__ import annotations

import csv
import io

import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab.exports import as_csv, guarded
from makerlab.audit.models import Event
from tests.lessons.lab.test_actions import enter, new
from tests.world import World

pytestmark = pytest.mark.django_db


def url(world: World, kind: str) -> str:
    return reverse("lessons:lab-results", args=[world.assignment.pk, kind])


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx"])
def test_formulas_are_guarded(text: str) -> None:
    assert guarded(text) == "'" + text
    assert guarded("Hares") == "Hares"
    assert guarded(-2.5) == -2.5


def test_csv_holds_every_reading_and_no_formula(lab: World, client: Client) -> None:
    old = enter(lab, new(measured=28.1))
    enter(lab, new(measured=2.81, replaces=old.pk))
    enter(lab, new(measured=2.9, left_out=True, note='=HYPERLINK("x")'))
    client.force_login(lab.teacher)
    answer = client.get(url(lab, "csv"))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert [row["measured"] for row in rows] == ["2.81", "2.9"]
    assert rows[1]["note"] == '\'=HYPERLINK("x")'
    assert answer["Content-Disposition"].startswith("attachment")
    assert "\r\n" in answer.content.decode()
    assert Event.objects.filter(verb="export readings").count() == 1


def test_json_says_the_same(lab: World, client: Client) -> None:
    enter(lab, new(measured=2.81))
    client.force_login(lab.technician)
    found = client.get(url(lab, "json")).json()["readings"]
    assert [(row["measured"], row["measured_unit"], row["changed_unit"]) for row in found] == [(2.81, "s", "g")]


def test_students_and_strangers_get_none(lab: World, client: Client) -> None:
    for user in (lab.student, lab.far_teacher, lab.other_teacher):
        client.force_login(user)
        assert client.get(url(lab, "csv")).status_code == 404
    client.force_login(lab.teacher)
    assert client.get(url(lab, "xlsx")).status_code == 404


def test_an_empty_lab_is_a_head_only() -> None:
    assert as_csv([]).count("\r\n") == 1
