"""Whether this process can serve: database, storage, and a worker that does the background work."""

from __future__ import annotations

import os
import tempfile
import threading
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection

from makerlab.keeping.schema import waiting_migrations
from makerlab.work.beat import lanes_without_worker
from makerlab.work.stored_files import is_folder, prove_store

LOOK_AGAIN_S = 2.0  # nobody needs to be signed in to ask: asking often must cost nothing
WELL = "ok"


@cache
def fits() -> bool:
    """Whether the database has all migrations. Asked until it has: a release does not lose them while it runs."""
    if waiting_migrations():
        raise LookupError
    return True


def database() -> str:
    """``ok``, or what is wrong, without addresses or names."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
        fits()
        return WELL
    except LookupError:
        return "waits for manage.py upgrade"
    except DatabaseError:
        return "not reached"


def storage() -> str:
    """Writes and removes a file of 4 kB where parts are kept: a full disk answers no sooner than that."""
    if not is_folder():
        try:
            prove_store()
        except Exception as error:  # noqa: BLE001 - whatever the store's library raises, it cannot be used now
            return f"the bucket cannot be used: {type(error).__name__}"
        return WELL
    try:
        folder = Path(settings.MEDIA_ROOT)
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder, prefix=".ready-") as file:
            file.write(b"\0" * 4096)
            file.flush()
            os.fsync(file.fileno())
        return WELL
    except OSError as error:
        return f"cannot be written to: {error.strerror}"


def worker() -> str:
    try:
        missing = lanes_without_worker()
    except DatabaseError:
        return "not known"
    return f"nobody serves {', '.join(missing)}" if missing else WELL


CHECKS: dict[str, Callable[[], str]] = {"database": database, "storage": storage, "worker": worker}
_lock = threading.Lock()
_last: tuple[float, dict[str, str]] = (float("-inf"), {})


def look(again: bool = False) -> dict[str, str]:
    """What each check says; the last answer where it is younger than two seconds, unless ``again``."""
    global _last
    with _lock:
        if again or time.monotonic() - _last[0] > LOOK_AGAIN_S:
            try:
                _last = (time.monotonic(), {name: check() for name, check in CHECKS.items()})
            finally:
                connection.close_if_unusable_or_obsolete()
        return dict(_last[1])
