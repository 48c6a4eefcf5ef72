"""Which backups are kept: the newest of each of the last days, and the newest of each of the last weeks."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from makerlab.keeping.names import ENCRYPTED, PLAIN, PREFIX, STAMP, UNFINISHED

DAYS, WEEKS = 14, 8
LATE = timedelta(hours=30)  # one a day, and some hours for a machine that was off
_NAME = re.compile(
    rf"^{re.escape(PREFIX)}(\d{{8}}T\d{{6}}Z)(?:{re.escape(PLAIN)}|{re.escape(ENCRYPTED)})({re.escape(UNFINISHED)})?$"
)


def made_at(path: Path) -> datetime | None:
    """When a backup was made, by its name; None for a file that is not ours or not finished."""
    found = _NAME.match(path.name)
    if found is None or found[2]:
        return None
    return datetime.strptime(found[1], STAMP).replace(tzinfo=UTC)


def backups_in(folder: Path) -> list[tuple[datetime, Path]]:
    """Finished backups of a folder, oldest first; nothing when the folder is not there."""
    if not folder.is_dir():
        return []
    return sorted((moment, path) for path in folder.iterdir() if (moment := made_at(path)) is not None)


def kept(moments: Iterable[datetime], days: int = DAYS, weeks: int = WEEKS) -> set[datetime]:
    """The moments to keep: of the newest ``days`` days that have a backup the last one each, of the newest ``weeks``
    calendar weeks (Monday to Sunday, UTC) likewise, and always the newest of all."""
    ordered = sorted(moments, reverse=True)
    by_day: dict[object, datetime] = {}
    by_week: dict[object, datetime] = {}
    for moment in ordered:
        by_day.setdefault(moment.date(), moment)
        by_week.setdefault(moment.isocalendar()[:2], moment)
    return {*ordered[:1], *list(by_day.values())[:days], *list(by_week.values())[:weeks]}


def forget_old(folder: Path, days: int = DAYS, weeks: int = WEEKS) -> list[Path]:
    """Delete the backups that are no longer kept, and what an interrupted one left a day ago. Other files stay."""
    found = backups_in(folder)
    keep = kept((moment for moment, _path in found), days, weeks)
    gone = [path for moment, path in found if moment not in keep]
    gone += [path for path in folder.iterdir() if _left_over(path)]
    for path in gone:
        path.unlink(missing_ok=True)
    return gone


def _left_over(path: Path) -> bool:
    found = _NAME.match(path.name)
    if found is None or not found[2]:
        return False
    began = datetime.strptime(found[1], STAMP).replace(tzinfo=UTC)
    return datetime.now(UTC) - began > timedelta(days=1)
