"""Every hostile, broken and odd file we know, through the whole site: upload, job, child process, report page."""

from __future__ import annotations

import pytest
from django.conf import settings as site
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from lessons.models import CheckState
from makerlab.work import child
from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from meshcheck import service
from submissions import actions
from submissions.models import Submission
from tests.meshcheck.badfiles import BadFile, binary_stl, cube_corners, every_mesh_file, text_stl, wheel_corners
from tests.meshcheck.badpackages import CUBE, every_package, model, package
from tests.submissions.make import stl_upload

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
FILES = [*every_mesh_file(), *every_package()]
MARKUP = "<script>alert(7)</script>"
TITLE = f'<metadata name="Title">Pip Alder {MARKUP.replace("<", "&lt;")}</metadata>'


def take(world, content: bytes, name: str = "wheel.stl") -> Submission:
    return actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(content, name))


def send(client, world, content: bytes, name: str):
    path = reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk])
    return client.post(path, {"file": SimpleUploadedFile(name, content)})


@pytest.mark.parametrize("half", [0, 1])
def test_no_file_breaks_the_site_and_every_one_gets_an_answer(world, signed_in, half, settings):
    settings.UPLOADS_AN_HOUR = 1000
    files: list[BadFile] = FILES[half::2]
    world.assignment.files_max = 32_000
    world.assignment.save()
    client, sent, unread = signed_in(world.student), 0, []
    for file in files:
        content = file.make()
        answer = send(client, world, content, f"{file.name}.stl")
        if answer.status_code == 422:  # told before it is stored: empty, too big
            assert not content or len(content) > site.UPLOAD_MAX_BYTES
            continue
        assert answer.status_code == 302, file.name
        sent += 1
        run_waiting("measure")
        stored = Submission.objects.newest_first().first()
        if stored.check_state == CheckState.FAILED:
            unread.append((file.name, stored.check_error))
        else:
            assert stored.check_state == CheckState.CHECKED, file.name
            assert (stored.verdict == "rejected") == (file.code is not None), file.name
        assert client.get(reverse("submissions:submission-report", args=[stored.pk])).status_code == 200, file.name
    assert sent > 40
    assert unread == []
    assert not Job.objects.exclude(state=Job.State.DONE).exists()


@pytest.mark.parametrize(
    ("content", "name"),
    [
        (binary_stl(wheel_corners(), f"{MARKUP} Pip Alder".encode()), "wheel.stl"),
        (text_stl(wheel_corners(), f"{MARKUP} Pip Alder").encode(), "wheel.stl"),
        (
            package(model(CUBE, more=TITLE)),
            "w.3mf",
        ),
        (binary_stl(cube_corners()), f'Pip Alder"{MARKUP}.stl'),
    ],
    ids=["binary header", "solid's name", "3MF metadata", "file name"],
)
def test_text_inside_a_file_is_never_shown_nor_passed_on(world, signed_in, tmp_path, content, name):
    submission = take(world, content, name)
    run_waiting("measure")
    submission.refresh_from_db()
    assert submission.check_state == CheckState.CHECKED
    pages = [
        signed_in(person).get(reverse("submissions:submission-report", args=[submission.pk])).content
        for person in (world.student, world.teacher)
    ]
    assert all(b"alert(7)</script>" not in page for page in pages)
    assert "Pip Alder" not in str(submission.report).replace(submission.file_name, "")
    part = {"path": submission.file.path, "name": submission.file_name, "unit": "mm", "pose": None}
    part |= {"x_mm": 50.0, "y_mm": 50.0, "turn_deg": 0.0}
    for kind in ("stl", "3mf"):
        out = tmp_path / f"plate.{kind}"
        service.write_plate(parts=[part], path=str(out), kind=kind, title="Plate 1")
        data = out.read_bytes()
        assert len(data) > 200
        assert b"Pip Alder" not in data
        assert b"alert(7)" not in data


def test_a_poison_file_fails_after_three_tries_and_harms_nobody(world, signed_in, monkeypatch):
    """The child dies on it each time, as it would by a fault of a library; the file beside it is read as always."""
    world.assignment.files_max = 99
    world.assignment.save()
    poison = take(world, binary_stl(cube_corners()), "poison.stl")
    sound = take(world, binary_stl(wheel_corners()), "wheel.stl")
    real, tries = child.run, []

    def run(target, arguments):
        if arguments.get("path") == poison.file.name:
            tries.append(target)
            return real("tests.makerlab.child_targets:crash", {})
        return real(target, arguments)

    monkeypatch.setattr(child, "run", run)
    run_waiting("measure")
    poison.refresh_from_db()
    sound.refresh_from_db()
    assert len(tries) == 3
    assert (poison.check_state, sound.check_state) == (CheckState.FAILED, CheckState.CHECKED)
    assert poison.check_error
    page = signed_in(world.student).get(reverse("submissions:submission-report", args=[poison.pk]))
    assert page.status_code == 200
    assert run_waiting("measure") == 0  # it is not taken up again
