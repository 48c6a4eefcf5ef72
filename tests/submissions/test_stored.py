"""Where uploads lie: by uuid, not served, the same bytes once a school, within quotas, gone with the last row."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lessons.actions import kits
from lessons.stored import files_of, store_once
from submissions import actions
from submissions.models import Submission
from submissions.uploads import UploadRefused
from tests.meshcheck.badfiles import binary_stl, cube_corners
from tests.submissions.make import stl_upload, text_of
from tests.world import World, make_student

pytestmark = pytest.mark.django_db
CUBE, OTHER = binary_stl(cube_corners()), binary_stl(cube_corners(10.0))


def files(settings) -> set[str]:
    root = Path(settings.MEDIA_ROOT)
    return {str(path.relative_to(root)) for path in root.rglob("*") if path.is_file()}


def second_team(world: World):
    return make_student(world.school_class, world.second_team, "Fern")


def take(world: World, person=None, content: bytes = CUBE, name: str = "cube.stl") -> Submission:
    return actions.upload_part(person or world.student, world.assignment, world.wheel, stl_upload(content, name))


def test_stored_by_uuid_outside_of_what_is_served(world, settings, client):
    stored = take(world, name="../../Pip Alder.stl")
    assert re.fullmatch(r"parts/[0-9a-f]{2}/[0-9a-f]{32}", stored.file.name)
    assert not Path(settings.MEDIA_ROOT).is_relative_to(settings.STATIC_ROOT)
    for root in ("/media/", "/static/", "/"):
        assert client.get(root + stored.file.name).status_code == 404
    assert Path(stored.file.path).stat().st_mode & 0o077 == 0


def test_the_same_bytes_lie_there_once_for_a_school(world, settings, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        first = take(world)
        second = take(world, second_team(world), name="our cube.stl")
    assert first.file.name == second.file.name
    assert (first.file_name, second.file_name) == ("cube.stl", "our cube.stl")
    assert files(settings) == {first.file.name}
    with django_capture_on_commit_callbacks(execute=True):
        part = kits.add_part(world.teacher, world.plan, "cube", stl_upload(CUBE, "kit.stl"))
    assert part.file.name == first.file.name


def test_another_school_gets_its_own_copy(world):
    first = take(world)
    theirs = Submission(file_bytes=first.file_bytes, sha256=first.sha256)
    theirs.file.save("", stl_upload(CUBE, "cube.stl"), save=False)
    own = theirs.file.name
    store_once(theirs, world.other_school.pk)
    assert theirs.file.name == own != first.file.name
    store_once(theirs, world.school.pk)
    assert theirs.file.name == first.file.name


def test_a_file_goes_with_the_last_row_that_points_to_it(world, settings, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        first, second = take(world), take(world, second_team(world))
    for row, left in ((first, {second.file.name}), (second, set())):
        with django_capture_on_commit_callbacks(execute=True):
            row.delete()
        assert files(settings) == left


def test_a_class_that_goes_holds_its_own_schools_store_and_asks_for_files_some_at_a_time(
    world, settings, django_capture_on_commit_callbacks
):
    """However many files go: a school whose class is deleted keeps no other school's uploads waiting."""
    asked = []
    for count in (1, 6):
        with django_capture_on_commit_callbacks(execute=True):
            for number in range(count):
                take(world, content=binary_stl(cube_corners(20.0 + 10 * count + number)))
        assert len(files(settings)) == count
        with django_capture_on_commit_callbacks() as later, transaction.atomic(), files_of(world.school.pk):
            Submission.objects.all().delete()
        assert len(files(settings)) == count
        with CaptureQueriesContext(connection) as queries:
            for callback in later:
                callback()
        assert files(settings) == set()
        asked.append([one["sql"] for one in queries])
    assert [len(found) for found in asked] == [len(asked[0])] * 2
    schools = [sql for sql in asked[1] if 'FROM "accounts_school"' in sql]
    assert schools
    assert all(f'"accounts_school"."id" = {world.school.pk}' in sql for sql in schools)


def test_no_file_goes_when_the_rows_stay(world, settings, django_capture_on_commit_callbacks):
    first = take(world)
    with (
        django_capture_on_commit_callbacks(execute=True),
        contextlib.suppress(ZeroDivisionError),
        transaction.atomic(),
        files_of(world.school.pk),
    ):
        Submission.objects.get().delete()
        raise ZeroDivisionError
    assert files(settings) == {first.file.name}
    with django_capture_on_commit_callbacks(execute=True), transaction.atomic(), files_of(world.school.pk):
        Submission.objects.get().delete()
        take(world, second_team(world))  # the same bytes: in its place, with a file of its own or with this one
    assert files(settings) == {Submission.objects.get().file.name}


def test_an_upload_that_fails_leaves_no_file_and_harms_no_shared_one(world, settings, monkeypatch):
    first = take(world)
    monkeypatch.setattr(actions, "_start_check", lambda submission: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        take(world, second_team(world))
    assert files(settings) == {first.file.name}


def test_a_file_missing_from_the_store_is_not_shared(world):
    first = take(world)
    default_storage.delete(first.file.name)
    second = take(world, second_team(world))
    assert second.file.name != first.file.name
    assert default_storage.exists(second.file.name)


@pytest.mark.parametrize(
    ("name", "told"), [("TEAM_MAX_BYTES", "files have 0 MB together"), ("SCHOOL_MAX_BYTES", "is full")]
)
def test_quotas_are_told_and_nothing_is_lost(world, settings, signed_in, name, told):
    take(world)
    setattr(settings, name, len(CUBE) + len(OTHER) - 1)
    before = files(settings)
    path = reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk])
    answer = signed_in(world.student).post(path, {"file": SimpleUploadedFile("b.stl", OTHER)})
    assert answer.status_code == 422
    assert told in text_of(answer)
    assert Submission.objects.count() == 1
    assert files(settings) == before
    setattr(settings, name, len(CUBE) + len(OTHER))
    assert take(world, content=OTHER).version == 2


def test_a_teams_quota_is_the_teams_own(world, settings):
    take(world)
    settings.TEAM_MAX_BYTES = len(OTHER)
    assert take(world, second_team(world), OTHER).version == 1


def test_the_schools_store_counts_kit_parts_too(world, settings):
    take(world)
    settings.SCHOOL_MAX_BYTES = len(CUBE)
    with pytest.raises(UploadRefused, match="is full"):
        kits.add_part(world.teacher, world.plan, "cube", stl_upload(OTHER, "kit.stl"))


def test_downloads_leave_as_attachments_nothing_can_run(world, signed_in):
    stored = take(world, name='a"b<script>.stl')
    answer = signed_in(world.student).get(reverse("submissions:submission-file", args=[stored.pk]))
    assert b"".join(answer) == CUBE
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith("attachment; filename=")
    assert "<" not in answer["Content-Disposition"]
    assert answer["X-Content-Type-Options"] == "nosniff"
    policy = answer["Content-Security-Policy"]
    assert "sandbox" in policy
    assert "default-src 'none'" in policy


def test_one_person_sends_so_many_an_hour_and_no_more(world, settings):
    settings.UPLOADS_AN_HOUR = 1
    take(world)
    with pytest.raises(UploadRefused, match="very many"):
        take(world, content=OTHER)
    assert take(world, second_team(world), OTHER).version == 1
