"""Makes a backup: the database's snapshot and every file it names, in one sealed file, proved before it counts."""

from __future__ import annotations

import logging
import os
import tempfile
import zipfile
from contextlib import ExitStack, nullcontext
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.utils import timezone

from makerlab.keeping.archive import DATABASE, MANIFEST, MEDIA, check_seal, copy_hashed, new_sealed_zip
from makerlab.keeping.check import check_backup
from makerlab.keeping.encryption import Lock, encrypt, library
from makerlab.keeping.manifest import Manifest, Member
from makerlab.keeping.named import named_files
from makerlab.keeping.names import ENCRYPTED, PLAIN, PREFIX, STAMP, UNFINISHED
from makerlab.keeping.schema import refuse_newer
from makerlab.keeping.snapshot import Snapshot, take_snapshot, writers_wait
from makerlab.keeping.trouble import KeepingTrouble, disk_words

log = logging.getLogger("makerlab.keeping")


@dataclass(frozen=True, slots=True)
class Made:
    """A finished backup."""

    path: Path
    bytes: int
    manifest: Manifest


def release() -> str:
    """The version of this release."""
    try:
        return version("makerlab")
    except PackageNotFoundError:  # a checkout that was not installed
        return "unknown"


def lock_from_settings() -> Lock:
    """How this installation locks its backups."""
    return Lock(settings.BACKUP_TO, settings.BACKUP_PASSPHRASE)


def make_backup(folder: Path, lock: Lock, now: datetime | None = None) -> Made:
    """Write one backup into ``folder`` while everybody works, prove it, and give it its name.

    Raises KeepingTrouble in plain words; then nothing is left behind and older backups stay as they were.
    """
    moment = now or timezone.now()
    with disk_words(folder, "The backup"):
        refuse_newer()
        if lock:
            library()
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        settings.VAR.mkdir(parents=True, exist_ok=True)
        final = folder / f"{PREFIX}{moment.strftime(STAMP)}{ENCRYPTED if lock else PLAIN}"
        if final.exists():
            raise KeepingTrouble(f"{final} is there already; a second backup in one second is not made.")
        part = final.with_name(final.name + UNFINISHED)
        try:
            manifest = _write(part, lock, moment)
            os.replace(part, final)
        finally:
            part.unlink(missing_ok=True)
        return Made(final, final.stat().st_size, manifest)


def _write(part: Path, lock: Lock, moment: datetime) -> Manifest:
    # what is not yet encrypted stays beside the database, never on the disk for backups
    with tempfile.TemporaryDirectory(prefix="backup-", dir=settings.VAR) as name:
        work = Path(name)
        plain = work / "plain.zip" if lock else part
        manifest = _write_plain(plain, work, moment)
        check_backup(plain, work)
        if lock:
            encrypt(plain, part, lock)
            check_seal(part)
    return manifest


def _write_plain(target: Path, work: Path, moment: datetime) -> Manifest:
    with ExitStack() as stack, new_sealed_zip(target) as archive:
        snapshot, files, missing = _copy_files(archive, work, stack)
        with snapshot.write().open("rb") as source, archive.open(DATABASE, "w", force_zip64=True) as stream:
            size, digest = copy_hashed(source, stream)
        manifest = Manifest(
            made_at=moment.isoformat(timespec="seconds"),
            release=release(),
            database_kind=snapshot.kind,
            database=Member(DATABASE, size, digest),
            migrations=snapshot.migrations,
            tables=snapshot.tables,
            files=tuple(files[name] for name in sorted(snapshot.files) if name in files),
            missing=tuple(sorted(missing)),
        )
        archive.writestr(MANIFEST, manifest.to_json())
    return manifest


def _copy_files(archive: zipfile.ZipFile, work: Path, stack: ExitStack) -> tuple[Snapshot, dict[str, Member], set[str]]:
    """Every file the snapshot names. When one vanished because its row went meanwhile, a second snapshot is taken while
    writers wait: by then only the few files that came since are left to copy."""
    copied: dict[str, Member] = {}
    for number in range(2):
        with writers_wait() if number else nullcontext():
            snapshot = take_snapshot(work / f"database-{number}", stack)
            missing = {name for name in sorted(snapshot.files - copied.keys()) if not _copy_file(archive, name, copied)}
        if not missing or missing <= named_files():
            break
    for name in sorted(missing):
        log.warning("a stored file is missing: %s", name)
    return snapshot, copied, missing


def _copy_file(archive: zipfile.ZipFile, name: str, copied: dict[str, Member]) -> bool:
    try:
        with default_storage.open(name, "rb") as source:
            member = zipfile.ZipInfo(MEDIA + name)
            member.compress_type = zipfile.ZIP_DEFLATED
            with archive.open(member, "w", force_zip64=True) as stream:
                size, digest = copy_hashed(source.file or source, stream)
    except FileNotFoundError:
        return False
    copied[name] = Member(MEDIA + name, size, digest)
    return True
