"""Proves a backup, or puts it back."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.keeping import restore as keeping
from makerlab.keeping.trouble import KeepingTrouble


def ask_passphrase() -> str:
    """The passphrase from the environment, or typed where somebody sits in front of it."""
    if settings.BACKUP_PASSPHRASE or not sys.stdin.isatty():
        return str(settings.BACKUP_PASSPHRASE)
    return getpass.getpass("Passphrase of the backup: ")


class Command(BaseCommand):
    help = (
        "Put a backup back into an empty place, or with --check only prove it. Nothing is ever overwritten. A backup "
        "of an older release is brought up to this one; one of a newer release is refused."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--check", action="store_true", help="prove it and change nothing")
        parser.add_argument("--into", type=Path, metavar="FOLDER", help="an empty folder (default: MAKERLAB_VAR)")
        parser.add_argument("--key", type=Path, metavar="FILE", help="the secret key of a backup to a public key")

    def handle(self, *args: Any, **options: Any) -> None:
        path, into = options["file"].resolve(), (options["into"] or settings.VAR).resolve()
        try:
            key_text = options["key"].read_text() if options["key"] else ""
        except (OSError, ValueError) as error:
            raise CommandError(f"{options['key']} cannot be read: {error}") from error
        try:
            if options["check"]:
                checked = keeping.check(path, ask_passphrase, key_text)
                for line in checked.proved:
                    self.stdout.write(f"  {line}")
                for line in checked.untried:
                    self.stdout.write(f"  not tried: {line}")
                manifest = checked.manifest
                self.stdout.write(
                    f"{path.name} can be restored: made {manifest.made_at} by release {manifest.release}."
                )
            else:
                manifest = keeping.restore(
                    path, into, ask_passphrase, lambda line: self.stdout.write(f"  {line}"), key_text
                )
                self.stdout.write(f"Restored into {into}: as it was on {manifest.made_at}. Everybody signs in again.")
        except KeepingTrouble as trouble:
            raise CommandError(str(trouble)) from trouble
        if manifest.missing:
            self.stdout.write(f"  {len(manifest.missing)} files were missing already when it was made.")
