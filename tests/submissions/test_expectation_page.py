"""Expected beside measured on the page, with figures worked out by hand."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab.expectation import expectation_page
from tests.lessons.lab.test_actions import OWN, enter, new
from tests.submissions.test_lab_parts import experiment, version
from tests.world import World

pytestmark = pytest.mark.django_db


def test_rows_by_hand(world: World) -> None:
    """t = 2.754 s without loss (worked out in test_lab_parts); three times of 2.97 s make the loss, and then the
    expected time is the measured one."""
    what = experiment(world)
    version(world)
    for trial, time in enumerate((2.95, 2.99, 2.97), start=1):
        enter(world, new(trial=trial, measured=time))
    page = expectation_page(world.assignment, what, world.team, OWN)
    row = page.rows[0]
    assert row.lossless.startswith("2.75\u00a0±")
    assert row.expected.startswith("2.97\u00a0±")
    assert row.agree is True
    assert row.difference.startswith(("0.00", "\u22120.00"))
    # 4 I / R^2 = 22.13 g of 114.43 g: 19 of 100 J
    assert page.spin_in_100 == pytest.approx(100 * 22.133 / 114.433, abs=0.1)
    assert page.figures["factor"] == "0.58"
    titles = [told.title for told in page.told]
    assert any("One gram less" in title for title in titles)


def test_page_without_a_wheel_says_why(world: World, client: Client) -> None:
    experiment(world)
    client.force_login(world.student)
    answer = client.get(reverse("lessons:lab-physics", args=[world.assignment.pk]), {"design": OWN})
    assert "is not measured yet" in answer.content.decode()


def test_page_with_a_wheel_shows_both_levels(world: World, client: Client) -> None:
    experiment(world)
    version(world)
    client.force_login(world.student)
    text = client.get(reverse("lessons:lab-physics", args=[world.assignment.pk]), {"design": OWN}).content.decode()
    assert "0.100 m of height for each metre of way" in text
    assert "19 J are in the spinning" in text
    assert "OpenStax" in text
    for user in (world.far_student, world.other_teacher):
        client.force_login(user)
        assert client.get(reverse("lessons:lab-physics", args=[world.assignment.pk])).status_code == 404
