"""The part of the plate page where a technician brings a prepared file."""

from __future__ import annotations

import hashlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from printing.models import Plate, PreparedFile
from tests.printing.gcode_for_plates import bring, file_for, plate_of_wheels, upload
from tests.printing.helpers import plan_now
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plate(world) -> Plate:
    return plate_of_wheels(world)


@pytest.fixture
def technician(world, signed_in):
    return signed_in(world.technician)


def post(client, plate, text, **values):
    data = {"kind": plate.printer.kind_id, "dialect": "printer-ms", "file": upload(text), **values}
    return client.post(reverse("printing:plate-prepared", args=[plate.pk]), data)


def test_bringing_a_file_on_the_page(world, plate, technician):
    text = text_of(technician.get(reverse("printing:plate-detail", args=[plate.pk])))
    assert "Bring the file you prepared" in text
    assert "G4 P500 waits half a second" in text
    assert post(technician, plate, file_for(plate)).status_code == 302
    section = reverse("printing:plate-prepared", args=[plate.pk])
    waiting = text_of(technician.get(section, headers={"HX-Request": "true"}))
    assert "being read" in waiting
    assert 'hx-trigger="every 1s"' in waiting
    run_waiting("measure")
    done = text_of(technician.get(section, headers={"HX-Request": "true"}))
    assert "stands for the plate" in done
    assert "The height is the plate&#x27;s" in done
    assert "205 °C, usual 190 to 220 °C" in done
    assert "by our own estimate" in done
    assert "hx-trigger" not in done


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"file": ""}, "Choose the file first."),
        ({"file": SimpleUploadedFile("a.gcode", b"")}, "The file is empty"),
        ({"dialect": "any"}, "Select a valid choice"),
        ({"kind": "999999"}, "Select a valid choice"),
    ],
)
def test_bad_input_is_told_in_place(plate, technician, values, said):
    answer = post(technician, plate, "G1 X1 F100", **values)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert not PreparedFile.objects.exists()


def test_the_file_leaves_only_as_a_download(world, plate, technician, signed_in):
    content = file_for(plate)
    prepared = bring(world, plate, content)
    address = reverse("printing:prepared-file", args=[prepared.pk])
    answer = technician.get(address)
    assert b"".join(answer.streaming_content) == content.encode()
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert hashlib.sha256(content.encode()).hexdigest() == prepared.sha256
    for person, status in ((world.teacher, 200), (world.student, 404), (world.other_technician, 404)):
        answer = signed_in(person).get(address)
        assert answer.status_code == status
        b"".join(answer)  # to its end: then the file is closed


def test_using_and_withdrawing_on_the_page(world, plate, technician, signed_in):
    prepared = bring(world, plate, file_for(plate, grams=2.0))
    page = reverse("printing:plate-detail", args=[plate.pk])
    text = text_of(technician.get(page))
    assert "does not fit in everything" in text
    assert "I compared it with the plate" in text
    use = reverse("printing:prepared-use", args=[prepared.pk])
    assert "Compare the file" in text_of(technician.post(use, follow=True))
    assert "stands for" in text_of(technician.post(use, {"compared": "on"}, follow=True))
    withdraw = reverse("printing:prepared-withdraw", args=[prepared.pk])
    for person in (world.teacher, world.student, world.other_technician):
        assert signed_in(person).post(withdraw).status_code == 404
    assert "stands no longer" in text_of(technician.post(withdraw, follow=True))
    assert post(signed_in(world.teacher), plate, "").status_code == 404
    seen_by_teacher = text_of(signed_in(world.teacher).get(page))
    assert prepared.file_name in seen_by_teacher
    assert "Bring another file" not in seen_by_teacher


def test_looking_starts_no_work(world, plate, technician):
    prepared = bring(world, plate, file_for(plate))
    plan_now()
    before = Job.objects.count()
    technician.get(reverse("printing:plate-detail", args=[plate.pk]))
    technician.get(reverse("printing:plate-prepared", args=[plate.pk]))
    b"".join(technician.get(reverse("printing:prepared-file", args=[prepared.pk])))
    assert Job.objects.count() == before
