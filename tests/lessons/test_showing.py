"""What is shown of a part is kept beside it, sent to whoever may see the part, and goes with it."""

from __future__ import annotations

import base64
import copy
import gzip
from dataclasses import replace

import manifold3d
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.test import RequestFactory
from django.urls import reverse

from lessons.measuring import apply_measurement
from lessons.models import MeasuredFile
from lessons.part_view import ASK_ABOVE_BYTES, part_view
from lessons.showing import MESH, PICTURE, SMALL, ShownFiles, answer, keep, place_of, read_answer
from meshcheck.check import check_part
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.service import _as_text
from meshcheck.shown.binary import unpacked
from meshcheck.shown.make import shown
from tests.meshcheck.test_picture import mesh_of
from tests.submissions.make import make_submission

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def told() -> dict:
    """The child's answer for a box on feet, so that there is a steep underside."""
    table = manifold3d.Manifold.cube((20, 20, 2)).translate((0, 0, 8)) + manifold3d.Manifold.cube((4, 20, 8))
    text = _as_text(shown(check_part(stl_bytes([PlacedMesh(mesh_of(table), 0.0, 0.0)]), "table.stl")))
    assert text is not None
    return text


@pytest.fixture
def files(told) -> ShownFiles:
    made = read_answer(told, (220.0, 220.0, 200.0))
    assert made is not None
    return made


@pytest.fixture
def item(world, files, settings, tmp_path) -> MeasuredFile:
    settings.MEDIA_ROOT = tmp_path
    submission = make_submission(world)
    submission.file.save("", ContentFile(b"solid"), save=False)
    submission.shown = files.facts
    keep(submission, files)
    submission.save()
    return submission


def places(item: MeasuredFile) -> list[str]:
    return [place_of(item, kind, item.shown["key"]) for kind in (MESH, PICTURE, SMALL)]


def test_the_answer_is_read_as_it_was_made(told, files):
    assert unpacked(gzip.decompress(files.data[MESH])).faces_measured == files.facts["faces_measured"]
    assert files.facts["bed_mm"] == [220.0, 220.0, 200.0]
    assert files.facts["flags"]["steep"] > 0
    assert read_answer(told, (220.0, 220.0, 200.0)).facts == files.facts
    assert read_answer(None) is None


BOMB = base64.b64encode(gzip.compress(bytes(40 * 1024 * 1024))).decode()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda a: a.pop("small"),
        lambda a: a.update(mesh="!"),
        lambda a: a.update(mesh=base64.b64encode(b"plain").decode()),
        lambda a: a.update(mesh=base64.b64encode(gzip.compress(b"MKM1 and no more")).decode()),
        lambda a: a.update(mesh=BOMB),
        lambda a: a.update(picture=base64.b64encode(b"<svg onload=x>").decode()),
        lambda a: a.update(picture=base64.b64encode(b"\x89PNG\r\n\x1a\n" + bytes(200_000)).decode()),
        lambda a: a["facts"].update(flags=[1]),
        lambda a: a["facts"].pop("faces"),
        lambda a: a.update(facts="<script>"),
    ],
)
def test_an_answer_that_is_not_whole_is_refused(told, spoil):
    spoiled = copy.deepcopy(told)
    spoil(spoiled)
    with pytest.raises(ValueError, match=r"made for looking at|larger than it may be"):
        read_answer(spoiled)


def test_measuring_again_replaces_what_was_shown(item, files, django_capture_on_commit_callbacks):
    old = places(item)
    fresh = ShownFiles({**files.data, SMALL: files.data[PICTURE]}, {**files.facts, "key": "f" * 32})
    report = {
        "verdict": "ok", "bbox_mm": [20, 20, 10], "copies_in_file": 1, "mass_g": 1.0, "duration_s": 60.0,
    }  # fmt: skip
    with django_capture_on_commit_callbacks(execute=True):
        assert apply_measurement(item, {"report": report, "picture": "", "shown": fresh, "check_s": 0.1})
    item.refresh_from_db()
    assert item.shown["key"] == "f" * 32
    assert all(default_storage.exists(place) for place in places(item))
    assert not any(default_storage.exists(place) for place in old)


def test_what_is_shown_goes_with_the_part_and_only_once_that_is_sure(item, django_capture_on_commit_callbacks):
    kept = places(item)
    assert all(default_storage.exists(place) for place in kept)
    with django_capture_on_commit_callbacks(execute=False) as waiting:
        item.delete()
    assert all(default_storage.exists(place) for place in kept)
    for act in waiting:
        act()
    assert not any(default_storage.exists(place) for place in kept)


def test_two_parts_of_the_same_shape_share_nothing(item, files, world, django_capture_on_commit_callbacks):
    other = make_submission(world, team=world.second_team)
    other.file.save("", ContentFile(b"solid"), save=False)
    other.shown = files.facts
    keep(other, files)
    other.save()
    with django_capture_on_commit_callbacks(execute=True):
        item.delete()
    assert all(default_storage.exists(place) for place in places(other))


@pytest.mark.parametrize(
    ("name", "kind", "content_type"),
    [
        ("submission-mesh", MESH, "application/octet-stream"),
        ("submission-picture", PICTURE, "image/png"),
        ("submission-small", SMALL, "image/png"),
    ],
)
def test_sent_once_and_asked_for_each_time(item, files, world, client, name, kind, content_type):
    url = reverse(f"submissions:{name}", args=[item.pk])
    client.force_login(world.student)
    first = client.get(url, HTTP_ACCEPT_ENCODING="gzip")
    assert first.status_code == 200
    assert first["Content-Type"] == content_type
    assert first["Cache-Control"] == "private, no-cache"
    assert b"".join(first.streaming_content) == files.data[kind]
    again = client.get(url, HTTP_IF_NONE_MATCH=first["ETag"])
    assert again.status_code == 304
    assert again.content == b""
    client.force_login(world.other_student)
    assert client.get(url, HTTP_IF_NONE_MATCH=first["ETag"]).status_code == 404  # also with the right mark


def test_a_browser_that_reads_no_gzip_gets_the_mesh_plain(item, files):
    response = answer(RequestFactory().get("/"), item, MESH)
    assert response.content == gzip.decompress(files.data[MESH])
    assert "Content-Encoding" not in response


def test_nothing_shown_is_not_found_and_the_page_falls_back(world, client):
    submission = make_submission(world)
    client.force_login(world.student)
    for name in ("submission-mesh", "submission-picture", "submission-small"):
        assert client.get(reverse(f"submissions:{name}", args=[submission.pk])).status_code == 404
    assert part_view(submission, "submissions:submission") is None
    page = client.get(reverse("submissions:submission-report", args=[submission.pk])).content.decode()
    assert "<title>The wheel</title>" in page  # the check's own drawing


def test_the_picture_is_told_in_words(item):
    item.report = {
        **item.report, "bbox_mm": [20.04, 20, 10],
        "holes": [{"diameter_mm": 3.204, "depth_mm": 8.0, "axis": [0, 0, 1], "centre_mm": [1, 2, 3]}],
    }  # fmt: skip
    view = part_view(item, "submissions:submission")
    assert view is not None
    said = view.words.replace("\N{NO-BREAK SPACE}", " ")
    assert "seen from below" in said
    assert "20.0 mm wide, 20.0 mm deep and 10.0 mm high" in said
    assert "The hole measures 3.20 mm." in said
    assert "Steep undersides have red stripes." in said
    assert [name for name, _words, _bit in view.legend] == ["steep", "resting"]
    assert view.data["hole"]["centre"] == [1, 2, 3]


def test_a_big_mesh_waits_to_be_asked_for_and_says_how_much_is_shown(item, world, client):
    item.shown = {**item.shown, "bytes": ASK_ABOVE_BYTES + 1, "faces": 200_000, "faces_measured": 412_345}
    item.save()
    client.force_login(world.student)
    page = client.get(reverse("submissions:submission-report", args=[item.pk])).content.decode()
    assert " data-asks" in page
    assert "Shown with 200000 of 412345 triangles." in page.replace(",", "")
    item.shown = {**item.shown, "bytes": 1000, "faces": 412_345}
    item.save()
    page = client.get(reverse("submissions:submission-report", args=[item.pk])).content.decode()
    assert " data-asks" not in page
    assert "Shown with" not in page


def test_the_version_before_is_offered_as_a_ghost(item, files, world, client):
    newer = make_submission(world, version=item.version + 1)
    newer.file.save("", ContentFile(b"solid"), save=False)
    newer.shown = files.facts
    keep(newer, files)
    newer.save()
    client.force_login(world.student)
    page = client.get(reverse("submissions:submission-report", args=[newer.pk])).content.decode()
    assert f'data-ghost="{reverse("submissions:submission-mesh", args=[item.pk])}"' in page
    page = client.get(reverse("submissions:submission-report", args=[item.pk])).content.decode()
    assert "data-ghost=" not in page


def test_after_an_undone_transaction_the_next_attempt_finds_its_place(item, files):
    """Files written before an undone transaction are found again under the same name by the next attempt."""
    fresh = replace(files, facts={**files.facts, "key": "e" * 32})
    with transaction.atomic():
        keep(item, fresh)
        transaction.set_rollback(True)
    assert all(default_storage.exists(place) for place in places(item))
    keep(item, fresh)
    assert default_storage.exists(place_of(item, MESH, "e" * 32))
