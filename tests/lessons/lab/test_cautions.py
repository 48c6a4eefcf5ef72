"""What can hurt is said before the first run: on the board, the team's sheet, the worksheet and the coast-down page."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab.cautions import lab_cautions
from lessons.plans.cautions import standard_for
from tests.lessons.lab.test_actions import enter, new
from tests.lessons.lab.test_experiment import GOOD
from tests.world import World

pytestmark = pytest.mark.django_db
RAMP = "Keep the end of the ramp clear. Use the catch box. Do not stand on chairs to start a cart."
GLASSES = "Wear glasses when you snap off supports or press a rod into a hub."
SMALL = "Parts small enough for a film canister stay away from children under three."
FIRST = "come first."


@pytest.mark.parametrize("name", ["sheet", "board", "paper", "coasting"])
def test_each_page_of_the_lab_shows_them_with_their_sources(lab: World, client: Client, name: str) -> None:
    """The shared plan names no caution at all; those for bench and ramp stand there all the same."""
    client.force_login(lab.teacher)
    page = client.get(reverse(f"lessons:lab-{name}", args=[lab.assignment.pk])).content.decode()
    for text in (RAMP, GLASSES, SMALL, FIRST, "common practice, no source"):
        assert text in page, text
    assert '<details class="card stack cautions" open>' in page


def test_once_begun_they_fold_away_but_stay(lab: World, client: Client) -> None:
    enter(lab, new(measured=2.8))
    client.force_login(lab.student)
    page = client.get(reverse("lessons:lab-sheet", args=[lab.assignment.pk])).content.decode()
    assert RAMP in page
    assert '<details class="card stack cautions">' in page


def test_no_ramp_no_word_of_one(lab: World) -> None:
    assert RAMP in [row["text"] for row in standard_for({"experiment": GOOD}, has_kit=True)]
    assert RAMP not in [row["text"] for row in standard_for({"experiment": {}}, has_kit=True)]
    lab.assignment.plan.content = {}
    assert [group.title for group in lab_cautions(lab.assignment)] == ["At the bench", "Always"]
