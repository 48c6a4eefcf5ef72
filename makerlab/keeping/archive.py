"""The file itself: a ZIP whose comment is the SHA-256 of everything before it, so that no changed byte goes unseen.

Layout of a backup (format 1):
  media/<path>      every stored file that a row names, by its path in the store
  database          the SQLite file, or the PostgreSQL dump in the custom format of pg_dump
  manifest.json     see ``makerlab.keeping.manifest``
An encrypted backup is the same kind of sealed ZIP around it, see ``makerlab.keeping.encryption``.
Any ZIP program opens both.
"""

from __future__ import annotations

import hashlib
import os
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from makerlab.keeping.manifest import Manifest, Member, read_manifest
from makerlab.keeping.trouble import KeepingTrouble

DATABASE, MANIFEST, MEDIA = "database", "manifest.json", "media/"
PIECE = 1024 * 1024
_SEAL = b"makerlab backup, sha256 of all bytes before this: "
_HEX = 64


def copy_hashed(source: IO[bytes], target: IO[bytes]) -> tuple[int, str]:
    """Copy in pieces; returns the bytes copied and their SHA-256."""
    digest, size = hashlib.sha256(), 0
    while piece := source.read(PIECE):
        digest.update(piece)
        size += len(piece)
        target.write(piece)
    return size, digest.hexdigest()


@contextmanager
def new_sealed_zip(path: Path) -> Iterator[zipfile.ZipFile]:
    """A ZIP that only this account may read, sealed when the block ends well."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    with os.fdopen(descriptor, "w+b") as raw:
        with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED, allowZip64=True, compresslevel=5) as archive:
            archive.comment = _SEAL + b"0" * _HEX
            yield archive
        raw.flush()
        digest = _digest_without_seal(raw)
        raw.seek(-_HEX, os.SEEK_END)
        raw.write(digest)
        raw.flush()
        os.fsync(raw.fileno())


def _digest_without_seal(raw: IO[bytes]) -> bytes:
    left = raw.seek(0, os.SEEK_END) - _HEX
    raw.seek(0)
    digest = hashlib.sha256()
    while left > 0 and (piece := raw.read(min(PIECE, left))):
        digest.update(piece)
        left -= len(piece)
    return digest.hexdigest().encode()


def check_seal(path: Path) -> None:
    """Raises KeepingTrouble when a byte of the file is not what it was when the backup was made."""
    try:
        with path.open("rb") as raw:
            size = raw.seek(0, os.SEEK_END)
            raw.seek(max(0, size - _HEX - len(_SEAL)))
            tail = raw.read()
            if not tail.startswith(_SEAL):
                raise KeepingTrouble(
                    f"{path.name} is no backup of Makerlab, or its end is missing: a copy that was cut short looks "
                    "like this. Copy it again from where it was made, or take another backup."
                )
            if _digest_without_seal(raw) != tail[len(_SEAL) :]:
                raise KeepingTrouble(
                    f"{path.name} was changed or damaged after it was made: its fingerprint does not fit. "
                    "Copy it again from where it was made, or take another backup."
                )
    except FileNotFoundError as error:
        raise KeepingTrouble(f"{path}: no such file.") from error
    except OSError as error:
        raise KeepingTrouble(f"{path} cannot be read: {error.strerror or error}.") from error


@contextmanager
def open_backup(path: Path) -> Iterator[tuple[zipfile.ZipFile, Manifest]]:
    """A backup whose seal is whole, and its manifest. Raises KeepingTrouble in plain words for anything else."""
    check_seal(path)
    try:
        with zipfile.ZipFile(path) as archive:
            if MANIFEST not in archive.namelist():
                raise KeepingTrouble(f"{path.name} holds no list of contents: it is no backup of Makerlab.")
            yield archive, read_manifest(archive.read(MANIFEST))
    except zipfile.BadZipFile as error:
        raise KeepingTrouble(f"{path.name} cannot be opened: {error}.") from error


def extract(archive: zipfile.ZipFile, member: Member, target: IO[bytes]) -> None:
    """Write one member to ``target``. Raises KeepingTrouble when its fingerprint is not the one in the manifest."""
    try:
        with archive.open(member.name) as source:
            found = copy_hashed(source, target)
    except (KeyError, zipfile.BadZipFile) as error:
        raise KeepingTrouble(f"{member.name} is not in the backup as it should be: {error}.") from error
    if found != (member.bytes, member.sha256):
        raise KeepingTrouble(f"{member.name} in the backup is not the file its list of contents names.")
