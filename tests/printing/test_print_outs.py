"""The page of print-outs: what is offered to whom, that every link on it opens, and what is over is gone."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from lessons.models import Meeting
from tests.printing.helpers import make_plate
from tests.world import World

pytestmark = pytest.mark.django_db


def links(client: Client) -> list[str]:
    """Addresses linked in the body of the page."""
    answer = client.get(reverse("printing:print-outs"))
    assert answer.status_code == 200
    main = answer.content.decode().split("<main")[1].split("</main>")[0]
    return re.findall(r'<a [^>]*href="(/[^"]*)"', main)


def papers(world: World) -> dict[str, str]:
    return {
        "plan": reverse("lessons:plan-paper-pdf", args=[world.assignment.plan_id]),
        "sheet": reverse("lessons:plan-sheet", args=[world.assignment.plan_id]),
        "worksheet": reverse("lessons:lab-paper", args=[world.assignment.pk]),
        "trays": reverse("printing:meeting-tray-cards", args=[world.meeting.pk]),
        "hand-out": reverse("printing:meeting-hand-out", args=[world.meeting.pk]),
        "join cards": reverse("lessons:class-cards", args=[world.school_class.pk]),
        "sign": reverse("lessons:class-sign", args=[world.school_class.pk]),
    }


@pytest.mark.parametrize("who", ["teacher", "technician", "administrator"])
def test_every_print_out_opens(world: World, signed_in, who: str):
    plate = make_plate(world)
    client = signed_in(world.people()[who])
    found = links(client)
    assert [(link, client.get(link).status_code) for link in found] == [(link, 200) for link in found]
    assert reverse("printing:plate-labels", args=[plate.pk]) in found
    of_classes = {"join cards", "sign"}  # with students' pictures: not for the bench
    wanted = {name for name in papers(world) if who != "technician" or name not in of_classes}
    if not world.assignment.plan.content.get("experiment"):
        wanted -= {"worksheet"}
    assert {name for name, link in papers(world).items() if link in found} == wanted


def test_a_worksheet_wants_an_experiment(world: World, signed_in):
    plan = world.assignment.plan
    for experiment in ({}, {"trials": 3}):
        plan.content = {**plan.content, "experiment": experiment}
        plan.save()
        assert (papers(world)["worksheet"] in links(signed_in(world.teacher))) is bool(experiment)


def test_others_find_nothing_of_it(world: World, signed_in):
    make_plate(world)
    assert signed_in(world.student).get(reverse("printing:print-outs")).status_code == 404
    for who in ("far_teacher", "other_teacher"):
        assert not set(papers(world).values()) & set(links(signed_in(world.people()[who])))


def test_a_lab_day_that_is_over_wants_no_paper(world: World, signed_in):
    ended = timezone.now() - timedelta(hours=1)
    Meeting.objects.filter(pk=world.meeting.pk).update(starts_at=ended - timedelta(hours=1), ends_at=ended)
    found = links(signed_in(world.teacher))
    assert papers(world)["trays"] not in found
    assert papers(world)["sign"] in found
