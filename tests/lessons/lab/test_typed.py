"""Numbers as people type them, and data that want to break the lab: every page stays up and says what it cannot."""

from __future__ import annotations

import uuid
from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab.typed import NotANumber, number_typed
from lessons.models import Reading
from tests.lessons.lab.test_designs import FIRST, OWN, put
from tests.world import World


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        ("2.68", 2.68), ("2,68", 2.68), (" 2,68 s", 2.68), ("2.68s", 2.68), (".9", 0.9), ("2.", 2.0), ("0:02.68", 2.68),
        ("00:02,68", 2.68), ("1:02.5", 62.5), ("0:00:02.68", 2.68), ("\u22122.5", -2.5), ("1\u00a0200", 1200.0),
        (3, 3.0), ("", None), ("  ", None), (None, None),
    ],
)  # fmt: skip
def test_what_is_read(typed: Any, seconds: float | None) -> None:
    assert number_typed(typed, "s") == (None if seconds is None else pytest.approx(seconds))


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("2:45 PM", "time of day"), ("11.30 am", "time of day"), ("9 p.m.", "time of day"), ("2:45", "hundredths"),
        ("2680 ms", "not a number in s"), ("1.234,5", "not a number"), ("zwei", "not a number"),
        ("1e3", "not a number"),
        ("nan", "not a number"), ("2.68.1", "not a number"), ("--2", "not a number"), (True, "Write a number"),
        (float("nan"), "Write a number"), (float("inf"), "Write a number"), ("9" * 12, "too large"),
        ([2], "Write a number"),
    ],
)  # fmt: skip
def test_what_is_asked_back(typed: Any, told: str) -> None:
    with pytest.raises(NotANumber, match=told):
        number_typed(typed, "s")


def test_a_colon_means_nothing_in_grams() -> None:
    assert number_typed("200,5 g", "g") == 200.5
    with pytest.raises(NotANumber):
        number_typed("0:02.68", "g")


def everywhere(lab: World, client: Client) -> str:
    """Every page, paper and file of the lab answers; returns what the board says."""
    client.force_login(lab.teacher)
    board = ""
    for name in ("sheet", "board", "physics", "argument", "designs", "coasting", "paper", "report"):
        answer = client.get(reverse(f"lessons:lab-{name}", args=[lab.assignment.pk]), {"team": lab.team.pk})
        assert answer.status_code == 200, name
        if name == "report":
            assert len(pypdfium2.PdfDocument(answer.content)) >= 1
        elif name != "board":
            assert "nan" not in answer.content.decode().replace("finance", ""), name
    for kind in ("csv", "json"):
        assert client.get(reverse("lessons:lab-results", args=[lab.assignment.pk, kind])).status_code == 200
    board = client.get(reverse("lessons:lab-board", args=[lab.assignment.pk])).content.decode()
    assert client.get(reverse("lessons:class-detail", args=[lab.school_class.pk])).status_code == 200
    return board.replace("\u00a0", " ")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("times", "said"),
    [
        ([], "Fewer than three trials yet"),
        ([2.7], "2.70 s"),
        ([2.7, 2.9], "from 2.70 s to 2.90 s"),
        ([2.7, 2.7, 2.7], "2.700 ± 0.003 s"),
        ([2.7, 2.8, 2700.0], "901.83 ± 899.08 s"),
        ([0.01, 0.01, 1e6], "333333.34"),
        ([2.7] * 19 + [2.9], "2.71 ± 0.01 s"),
    ],
)
def test_hostile_data_break_no_page(lab: World, client: Client, times: list[float], said: str) -> None:
    for design in (FIRST, OWN):
        for value in (0, 200, 100):
            put(lab, design, value, *times)
    assert said in everywhere(lab, client)


@pytest.mark.django_db
def test_an_outlier_is_asked_about_and_stays_until_somebody_decides(lab: World, client: Client) -> None:
    put(lab, OWN, 0, 2.7, 2.8, 2700.0)
    client.force_login(lab.student)
    page = client.get(reverse("lessons:lab-sheet", args=[lab.assignment.pk]), {"design": OWN, "at": "0"})
    assert "Measure again, or keep it with a reason?" in page.content.decode()
    assert Reading.objects.filter(is_left_out=False).count() == 3


@pytest.mark.django_db
def test_the_form_tells_what_is_wrong_and_stores_nothing(lab: World, client: Client) -> None:
    client.force_login(lab.student)
    sheet = reverse("lessons:lab-enter", args=[lab.assignment.pk])
    own = {"design": OWN, "at": "0", "team": str(lab.team.pk)}
    for typed, told in (
        ("2:45 PM", "time of day"),
        ("-2,5", "above 0 s"),
        ("0", "above 0 s"),
        ("zwei", "not a number in s"),
    ):
        answer = client.post(sheet, {**own, "entry": str(uuid.uuid4()), "measured": typed}, follow=True)
        assert told in answer.content.decode(), typed
    assert not Reading.objects.exists()
    client.post(sheet, {**own, "entry": str(uuid.uuid4()), "measured": "0:02,68", "changed_measured": "0"})
    assert Reading.objects.get().measured == pytest.approx(2.68)


@pytest.mark.django_db
def test_a_load_far_from_its_label_is_asked_about(lab: World, client: Client) -> None:
    lab.plan.content["experiment"] = {**lab.plan.content["experiment"], "weigh": True}
    lab.plan.save()
    client.force_login(lab.student)
    sheet = reverse("lessons:lab-enter", args=[lab.assignment.pk])
    row = {"design": OWN, "at": "200", "entry": str(uuid.uuid4()), "measured": "2.6", "changed_measured": "2000"}
    client.post(sheet, row)
    page = client.get(reverse("lessons:lab-sheet", args=[lab.assignment.pk]), {"design": OWN, "at": "200"})
    assert "Is this the right load?" in page.content.decode()
    assert "2000\u00a0g where the label says 200\u00a0g" in page.content.decode()
