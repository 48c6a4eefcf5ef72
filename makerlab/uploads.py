"""What is looked at before an uploaded file is stored: its size, its name and its fingerprint."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from pathlib import PurePosixPath
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

NAME_MAX = 80
MEGABYTE = 1024 * 1024
# letters and digits of any language, and a few signs; everything else becomes a dash
_UNWANTED = re.compile(r"[^\w. ()+-]+")
_DOTS = re.compile(r"-*\.[-.]*")
_RUNS = re.compile(r"([- ])\1+")


class UploadRefused(Exception):
    """The file was not taken. The message is shown beside the field; nothing that was there is lost."""


def clean_name(name: str | None) -> str:
    """A name that is safe to show and to send back: no folders, no control signs, at most 80 characters.

    It never reaches the file system: files are stored by uuid.
    """
    text = unicodedata.normalize("NFC", name or "")
    base = PurePosixPath(text.replace("\\", "/")).name
    tidy = _RUNS.sub(r"\1", _DOTS.sub(".", _UNWANTED.sub("-", base))).strip("-. ")
    if len(tidy) <= NAME_MAX:
        return tidy or "part"
    stem, dot, suffix = tidy.rpartition(".")
    if not dot or len(suffix) > 8:
        return tidy[:NAME_MAX].rstrip("-. ")
    return f"{stem[: NAME_MAX - len(suffix) - 1].rstrip('-. ')}.{suffix}"


def check_size(file: UploadedFile[Any]) -> int:
    """Bytes of the file. Raises UploadRefused when it is empty or over the cap; reads nothing."""
    size = file.size or 0
    cap = settings.UPLOAD_MAX_BYTES
    if size == 0:
        raise UploadRefused(
            _("The file is empty (0 bytes). Save or export it again in your drawing program, then upload it.")
        )
    if size > cap:
        raise UploadRefused(
            _("The file has %(size).1f MB; at most %(cap)d MB are taken. Export it again with fewer, larger triangles.")
            % {"size": size / MEGABYTE, "cap": cap // MEGABYTE}
        )
    return size


def sha256_of(file: UploadedFile[Any]) -> str:
    """Fingerprint of the bytes, read in pieces; the file stands at its start afterwards."""
    digest = hashlib.sha256()
    for piece in file.chunks():
        digest.update(piece)
    file.seek(0)
    return digest.hexdigest()
