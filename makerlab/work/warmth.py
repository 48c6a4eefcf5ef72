"""Whether the kernels of this release were compiled here: what the last full warm-up was made with. Neither numba nor a
kernel is loaded to tell."""

from __future__ import annotations

import hashlib
import platform
from importlib.metadata import version
from pathlib import Path

from django.conf import settings

SOURCES = ("meshcheck", "planning")


def stamp() -> Path:
    return Path(settings.VAR) / "kernels"


def made_with() -> str:
    """What compiled code depends on: the sources, numba, Python, the processor. A change of any makes kernels compile
    anew."""
    digest = hashlib.sha256("\n".join([version("numba"), platform.python_version(), platform.machine()]).encode())
    for package in SOURCES:
        folder = settings.BASE_DIR / "queue" / package
        if not folder.is_dir():  # installed as a wheel
            folder = settings.BASE_DIR / package
        for path in sorted(folder.rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()


def note_warm() -> None:
    """A warm-up has come to its end. A folder that cannot be written to only means that the doctor does not know."""
    try:
        stamp().write_text(made_with())
    except OSError:
        return


def is_warm() -> bool:
    try:
        return stamp().read_text() == made_with()
    except OSError:
        return False
