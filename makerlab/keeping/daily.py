"""The daily backup, made by the worker where a folder is set up."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.conf import settings

from makerlab.keeping.retention import backups_in, forget_old

log = logging.getLogger("makerlab.keeping")
YOUNG = timedelta(hours=20)  # a worker started anew in the afternoon makes no second one


def back_up_daily() -> Path | None:
    """Make a backup in MAKERLAB_BACKUPS, then delete the old ones: never before the new one is proved. Answers its
    path, or None where no folder is set or the newest is young. Raises KeepingTrouble."""
    from makerlab.keeping.backup import lock_from_settings, make_backup  # and PostgreSQL's driver: workers only

    folder: Path | None = settings.BACKUPS
    if folder is None:
        return None
    there = backups_in(folder)
    if there and datetime.now(UTC) - there[-1][0] < YOUNG:
        return None
    made = make_backup(folder, lock_from_settings())
    gone = forget_old(folder)
    log.info("backup made: %s, %.1f MB, %d older ones deleted", made.path.name, made.bytes / 1e6, len(gone))
    for name in made.manifest.missing:
        log.warning("the database names a stored file that is not there: %s", name)
    return made.path
