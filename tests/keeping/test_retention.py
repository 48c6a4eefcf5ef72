"""Which backups are kept: worked out by hand for a run of days, and held for any set of moments."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from makerlab.keeping.retention import backups_in, forget_old, kept, made_at

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)  # a Wednesday
MOMENTS = st.lists(st.datetimes(datetime(2024, 1, 1), datetime(2026, 12, 31)).map(lambda m: m.replace(tzinfo=UTC)))


def test_a_year_of_days_keeps_14_days_and_8_weeks():
    year = [NOON - timedelta(days=n) for n in range(365)]
    # 14 days: 25 Nov back to 12 Nov. 8 weeks: this one (25 Nov), and the Sundays 22 Nov back to 11 Oct; of those
    # 22 and 15 Nov are among the days already.
    sundays = [datetime(2026, 11, 8, 12, tzinfo=UTC) - timedelta(weeks=n) for n in range(5)]
    assert kept(year) == {*year[:14], *sundays}


def test_of_one_day_the_last_is_kept():
    assert kept([NOON, NOON - timedelta(hours=3), NOON - timedelta(hours=8)]) == {NOON}


def test_after_a_long_holiday_nothing_old_is_lost_for_its_age():
    june = [datetime(2026, 6, day, 3, tzinfo=UTC) for day in range(8, 13)]
    assert kept([NOON, *june]) == {NOON, *june}


@settings(deadline=None)
@given(MOMENTS, st.integers(1, 20), st.integers(0, 10))
def test_the_newest_is_always_kept_and_never_more_than_asked(moments, days, weeks):
    keep = kept(moments, days, weeks)
    assert keep <= set(moments)
    assert len(keep) <= days + weeks
    assert not moments or max(moments) in keep
    assert kept(keep, days, weeks) == keep


def test_only_our_own_finished_backups_are_deleted(tmp_path):
    for name in (
        "makerlab-20260101T000000Z.backup.zip", "makerlab-20260101T100000Z.backup.zip",
        "makerlab-20260102T000000Z.backup.age.zip", "makerlab-20260101T000000Z.backup.zip.part",
        "makerlab-notes.txt", "other-20250101T000000Z.backup.zip",
    ):  # fmt: skip
        (tmp_path / name).write_text("")
    gone = {path.name for path in forget_old(tmp_path, 14, 8)}
    assert gone == {"makerlab-20260101T000000Z.backup.zip", "makerlab-20260101T000000Z.backup.zip.part"}
    assert len(backups_in(tmp_path)) == 2
    assert made_at(tmp_path / "makerlab-notes.txt") is None
    assert backups_in(tmp_path / "nowhere") == []
