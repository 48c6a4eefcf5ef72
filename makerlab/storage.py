"""Where files lie: as Django keeps them, but never half of one."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

from django.core.files.base import File
from django.core.files.storage import FileSystemStorage

UNFINISHED = "unfinished"


class WholeFiles(FileSystemStorage):
    """A file appears at its place when all of it is on the disk: neither a full disk nor a kill nor a power cut leaves
    half of one there. What a kill leaves among the unfinished goes with the day's chores (makerlab/keeping/strays.py).
    """

    def _save(self, name: str, content: File[bytes]) -> str:
        place = f"{UNFINISHED}/{secrets.token_hex(16)}"
        try:
            super()._save(place, content)  # type: ignore[misc]  # the stubs leave it out
            return self._put(place, name)
        except BaseException:  # whatever stopped it, no half of a file stays behind
            with suppress(OSError):
                self.delete(place)
            raise

    def _put(self, place: str, name: str) -> str:
        """Move a written file to its name. Names are random, or made of the content: nobody else's can be lost."""
        source = Path(self.path(place))
        with source.open("rb") as written:
            os.fsync(written.fileno())
        if self.exists(name):
            name = self.get_available_name(name)
        target = Path(self.path(name))
        target.parent.mkdir(parents=True, exist_ok=True)
        os.replace(source, target)
        _sync_folder(target.parent)
        return name


def _sync_folder(folder: Path) -> None:
    """Let the new name outlive a power cut, where folders can be synced (not on Windows)."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
