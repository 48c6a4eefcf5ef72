"""Encrypted backups in the age format (age-encryption.org/v1), by the pyrage library (the extra ``encrypt``).

The backup is encrypted to a public key in one stream. With a passphrase a fresh key is made for each backup and laid
beside it, itself encrypted by the passphrase, since only short texts can be encrypted that way without holding them in
memory. Both lie in one sealed ZIP, so that damage is told apart from a wrong passphrase:
  backup.zip.age    the backup
  key.age           with a passphrase: the key that opens it
Any program that knows the format opens them without Makerlab.
"""

from __future__ import annotations

import errno
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from makerlab.keeping.archive import check_seal, new_sealed_zip
from makerlab.keeping.trouble import KeepingTrouble

BACKUP, KEY = "backup.zip.age", "key.age"


@dataclass(frozen=True, slots=True)
class Lock:
    """How backups are locked: to a public key (``age1...``), by a passphrase, or not at all."""

    public_key: str = ""
    passphrase: str = ""

    def __bool__(self) -> bool:
        return bool(self.public_key or self.passphrase)


def library() -> Any:
    """The encryption library. Raises KeepingTrouble when it is not installed."""
    try:
        import pyrage
    except ImportError as error:
        raise KeepingTrouble(
            "Encrypted backups need the package pyrage: pip install 'makerlab[encrypt]', or pip install pyrage."
        ) from error
    return pyrage


def encrypt(plain: Path, target: Path, lock: Lock) -> None:
    """Write the sealed, encrypted file. Raises KeepingTrouble for a public key that is none."""
    pyrage = library()
    with new_sealed_zip(target) as outer:
        if lock.public_key:
            try:
                recipient = pyrage.x25519.Recipient.from_str(lock.public_key)
            except pyrage.RecipientError as error:
                raise KeepingTrouble("The public key for backups is none: it begins with age1.") from error
        else:
            identity = pyrage.x25519.Identity.generate()
            recipient = identity.to_public()
            outer.writestr(zipfile.ZipInfo(KEY), pyrage.passphrase.encrypt(f"{identity}\n".encode(), lock.passphrase))
        stored = zipfile.ZipInfo(BACKUP)  # not deflated: what is encrypted does not get smaller
        with plain.open("rb") as source, outer.open(stored, "w", force_zip64=True) as stream:
            try:
                pyrage.encrypt_io(source, stream, [recipient])
            except pyrage.EncryptError as error:  # it hides the system's error number
                full = f"Errno {errno.ENOSPC}" in str(error)
                why = "the disk is full. Make room there, then try again" if full else str(error)
                raise KeepingTrouble(f"Writing the encrypted backup did not work: {why}.") from error


def is_encrypted(path: Path) -> bool:
    """Whether a file whose seal is whole is an encrypted backup."""
    try:
        with zipfile.ZipFile(path) as outer:
            return BACKUP in outer.namelist()
    except zipfile.BadZipFile:
        return False


def decrypt(path: Path, target: IO[bytes], passphrase: str = "", key_text: str = "") -> None:
    """Write the backup inside to ``target``. ``key_text`` is the secret key (``AGE-SECRET-KEY-1...``) that belongs to
    the public one. Raises KeepingTrouble when neither opens it."""
    pyrage = library()
    check_seal(path)
    with zipfile.ZipFile(path) as outer:
        try:
            if KEY in outer.namelist():
                if not passphrase:
                    raise KeepingTrouble(
                        "This backup is encrypted by a passphrase. Set MAKERLAB_BACKUP_PASSPHRASE, "
                        "or type it when asked."
                    )
                key_text = pyrage.passphrase.decrypt(outer.read(KEY), passphrase).decode()
            elif not key_text:
                raise KeepingTrouble("This backup is encrypted to a public key. Name its secret key: --key FILE")
            identity = pyrage.x25519.Identity.from_str(_key_line(key_text))
            with outer.open(BACKUP) as stream:
                pyrage.decrypt_io(stream, target, [identity])
        except pyrage.DecryptError as error:
            what = "passphrase" if KEY in outer.namelist() else "key"
            raise KeepingTrouble(f"The {what} does not open this backup. Nothing was changed.") from error
        except pyrage.IdentityError as error:
            raise KeepingTrouble("The secret key cannot be read: its line begins with AGE-SECRET-KEY-1.") from error


def _key_line(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return lines[0] if lines else ""
