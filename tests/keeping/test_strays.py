"""Stored files that no row names go a day later; what a row names, and what was made of it for showing, stays."""

from __future__ import annotations

import os
import time
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone

from lessons.showing import PICTURE, place_of
from makerlab.keeping.strays import forget_strays, stored_names
from makerlab.work.actions import run_waiting
from makerlab.work.lanes import Lane
from makerlab.work.registry import DAILY
from tests.submissions.make import make_submission, post_file, stl_upload

pytestmark = pytest.mark.django_db
LATER = timedelta(days=1, minutes=1)


def old(name: str) -> None:
    then = time.time() - LATER.total_seconds()
    os.utime(default_storage.path(name), (then, then))


def test_of_a_real_check_everything_stays(world, signed_in):
    post_file(signed_in(world.student), world, stl_upload())
    run_waiting(Lane.MEASURE)
    names = set(stored_names())
    assert len(names) == 4, "the part, its 3D view and two pictures"
    assert forget_strays(timezone.now() + LATER) == []
    assert set(stored_names()) == names


def test_what_no_row_names_goes_when_it_is_old(world):
    kept = make_submission(world)
    shown = default_storage.save(place_of(kept, PICTURE, "a" * 32), ContentFile(b"p"))
    strays = [
        default_storage.save(name, ContentFile(b"s"))
        for name in ("parts/ab/abcd", "shown/ab/abcd-0123.png", "shown/ab/abcd-0123-small.png", "unfinished/0", "loose")
    ]
    young = default_storage.save("parts/cd/cdef", ContentFile(b"y"))
    for name in (str(kept.file.name), shown, *strays):
        old(name)
    assert sorted(forget_strays()) == sorted(strays)
    assert set(stored_names()) == {kept.file.name, shown, young}
    assert forget_strays() == []
    kept.delete()
    assert set(forget_strays(timezone.now() + LATER)) >= {shown}


def test_an_empty_store_is_no_trouble(settings, tmp_path: Path):
    settings.MEDIA_ROOT = str(tmp_path / "none")
    assert forget_strays() == []


def test_it_is_done_every_day_before_the_backup():
    names = [chore.__name__ for chore in DAILY]
    assert names.index("forget_strays") < names.index("back_up_daily")
