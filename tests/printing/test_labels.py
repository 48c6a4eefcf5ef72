"""Labels for the single copies of a plate."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from printing import queries
from printing.states import CopyState
from tests.printing.helpers import make_plate, ordered

pytestmark = pytest.mark.django_db


def labels_of(client, plate, **asked) -> list[str]:
    page = client.get(reverse("printing:plate-labels", args=[plate.pk]), asked)
    assert page.status_code == 200
    return re.findall(r'<li class="tray-card">.*?</li>', page.content.decode(), re.DOTALL)


def test_every_copy_has_a_label_with_its_tray_and_a_code(world, signed_in):
    request = ordered(world)
    plate = make_plate(world, request)
    copies = queries.placed_copies(plate)
    labels = labels_of(signed_in(world.technician), plate)
    assert len(labels) == len(copies) > 1
    for copy, label in zip(copies, labels, strict=True):
        words = " ".join(re.sub(r"<[^>]+>", " ", label).split())
        assert f"Tray {world.team.tray} {world.team}" in words
        assert f"copy {copy.number} of {request.copies.count()}" in words
        assert f"plate P{plate.number}, place {copy.place}" in words
        assert label.count('class="qr"') == 1


def test_a_copy_called_off_is_not_counted(world, signed_in):
    request = ordered(world)
    plate = make_plate(world, request)
    *_rest, last = request.copies.order_by("number")
    last.state, last.plate, last.place = CopyState.CANCELLED, None, None
    last.save()
    assert queries.copies_wanted(plate) == {request.pk: request.copies.count() - 1}


def test_only_who_sees_the_plate_gets_its_labels(world, signed_in):
    plate = make_plate(world, ordered(world))
    address = reverse("printing:plate-labels", args=[plate.pk])
    page = reverse("printing:plate-detail", args=[plate.pk])
    for person in (world.technician, world.teacher, world.student, world.other_technician):
        client = signed_in(person)
        assert client.get(address).status_code == client.get(page).status_code
    assert signed_in(world.other_technician).get(address).status_code == 404
    assert address in signed_in(world.technician).get(page).content.decode()
    assert "letter" in signed_in(world.technician).get(address, {"paper": "letter"}).content.decode()
