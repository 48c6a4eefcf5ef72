"""Files in the store that no row names: what a kill or a power cut leaves between storing a file and writing its row.
They may be a pupil's, and nobody could find them to delete them."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from datetime import datetime, timedelta

from django.core.files.storage import default_storage
from django.utils import timezone

from makerlab.keeping.named import named_files

log = logging.getLogger("makerlab.keeping")
YOUNG = timedelta(days=1)  # its row may still be on the way
SHOWN = "shown/"  # pictures and 3D views, each named after the file under parts/ that it was made of


def forget_strays(now: datetime | None = None) -> list[str]:
    """Delete stored files older than a day that no row names, and what was made of such for showing. Returns them."""
    now = now or timezone.now()
    there = list(stored_names())
    named = named_files()  # read after the store: who is named by then stays
    gone = [name for name in there if not is_named(name, named) and _is_old(name, now)]
    for name in gone:
        default_storage.delete(name)
    if gone:
        log.info("%d stored files that no row names were deleted", len(gone))
    return gone


def is_named(name: str, named: set[str]) -> bool:
    """Whether a row names the file, or the one it was made of."""
    if name.startswith(SHOWN):
        made_of, _dash, _key = name.removeprefix(SHOWN).removesuffix("-small.png").rpartition("-")
        return f"parts/{made_of}" in named
    return name in named


def stored_names(folder: str = "") -> Iterator[str]:
    """Every file of the store by its path in it."""
    try:
        folders, files = default_storage.listdir(folder)
    except FileNotFoundError:  # nothing was stored yet, or the folder has just gone
        return
    place = f"{folder}/" if folder else ""
    yield from (f"{place}{name}" for name in files)
    for each in folders:
        yield from stored_names(f"{place}{each}")


def _is_old(name: str, now: datetime) -> bool:
    try:
        return default_storage.get_modified_time(name) + YOUNG < now
    except FileNotFoundError:
        return False
