"""What can go wrong while backing up or restoring, in words for the person at the keyboard."""

from __future__ import annotations

import errno
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import DatabaseError, connection

MEGABYTE = 1024 * 1024


class KeepingTrouble(Exception):
    """Something did not work. The message says what and what to do; what was there before is unharmed."""


def room_left(folder: Path) -> str:
    """Free space of the disk a folder is on, as ``123 MB``; ``unknown`` when the folder is gone."""
    try:
        return f"{shutil.disk_usage(folder).free // MEGABYTE:,} MB"
    except OSError:
        return "unknown"


def not_reached(said: str) -> KeepingTrouble:
    """The trouble of a database server that is away, with what it or its driver said."""
    return KeepingTrouble(f"The database server is not reached: {said}")


@contextmanager
def disk_words(folder: Path, doing: str) -> Iterator[None]:
    """Turns the operating system's errors about a folder into plain words.

    Raises KeepingTrouble for a full disk, a file over the limit of this account, a folder that may not be written to
    any other OSError, and whatever the database says.
    """
    try:
        yield
    except OSError as error:
        if error.errno in {errno.ENOSPC, errno.EDQUOT}:
            why = f"The disk is full ({room_left(folder)} free). Make room there, then try again."
        elif error.errno == errno.EFBIG:
            why = "The file grew over the size this account may write. Raise that limit, then try again."
        elif error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
            why = f"This account may not write to {error.filename or folder}. Change its owner or its permissions."
        else:
            why = f"The system said: {error.strerror or error}."
        raise KeepingTrouble(f"{doing} did not work. {why}") from error
    except DatabaseError as error:
        said = str(error).strip()
        if connection.connection is None:
            raise not_reached(said) from error
        raise KeepingTrouble(f"{doing} did not work. The database said: {said}") from error
