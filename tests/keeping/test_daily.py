"""The worker's backup of the day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from makerlab.keeping.daily import YOUNG, back_up_daily
from makerlab.keeping.names import PLAIN, PREFIX, STAMP
from makerlab.keeping.retention import backups_in
from makerlab.work import actions
from makerlab.work.registry import DAILY

pytestmark = pytest.mark.django_db(transaction=True)


def put(folder, age: timedelta) -> None:
    """A file with the name of a backup of that age; only names count for what is kept."""
    folder.mkdir(exist_ok=True)
    (folder / f"{PREFIX}{(datetime.now(UTC) - age).strftime(STAMP)}{PLAIN}").write_bytes(b"")


def test_without_a_folder_there_is_none(settings):
    settings.BACKUPS = None
    assert back_up_daily() is None


def test_the_day_has_one_and_old_ones_go_when_it_is_there(settings, tmp_path):
    settings.BACKUPS = tmp_path / "backups"
    for days in range(1, 40):
        put(settings.BACKUPS, timedelta(days=days))
    made = back_up_daily()
    assert made is not None
    assert made.stat().st_size > 0
    assert back_up_daily() is None  # a second worker, or the same one started anew
    left = backups_in(settings.BACKUPS)
    assert left[-1][1] == made
    assert 14 <= len(left) <= 14 + 8


def test_a_young_one_is_enough_and_an_older_one_is_not(settings, tmp_path):
    settings.BACKUPS = tmp_path / "backups"
    put(settings.BACKUPS, YOUNG - timedelta(minutes=5))
    assert back_up_daily() is None
    settings.BACKUPS = tmp_path / "others"
    put(settings.BACKUPS, YOUNG + timedelta(minutes=5))
    assert back_up_daily() is not None


def test_it_is_among_the_workers_chores_and_its_trouble_ends_no_worker(settings, tmp_path, caplog):
    assert back_up_daily in DAILY
    settings.BACKUPS = tmp_path / "file"
    settings.BACKUPS.write_text("in the way")
    actions.do_daily()
    assert "back_up_daily did not work" in caplog.text
