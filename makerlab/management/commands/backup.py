"""One file with the database and every stored file, made while everybody works."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.keeping.backup import Made, lock_from_settings, make_backup
from makerlab.keeping.retention import DAYS, WEEKS, forget_old
from makerlab.keeping.trouble import KeepingTrouble


def default_folder() -> Path:
    """Where backups go when nobody says: MAKERLAB_BACKUPS, else beside the database."""
    return settings.BACKUPS or settings.VAR / "backups"


class Command(BaseCommand):
    help = (
        "Write the database and every stored file into one file while everybody works, and prove it. It is encrypted "
        "when MAKERLAB_BACKUP_TO (a public key) or MAKERLAB_BACKUP_PASSPHRASE is set. The secret key is not in it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--folder", type=Path, help="where to (default: MAKERLAB_BACKUPS, else backups/ beside the database)"
        )
        parser.add_argument(
            "--keep", type=int, metavar="DAYS",
            help=f"then delete older ones, but keep one of each of the last DAYS days with a backup (usual: {DAYS})",
        )  # fmt: skip
        parser.add_argument(
            "--keep-weeks", type=int, default=WEEKS, metavar="WEEKS", help=f"with --keep: and one of each of the last "
            f"WEEKS weeks (default: {WEEKS})",
        )  # fmt: skip

    def handle(self, *args: Any, **options: Any) -> None:
        folder = (options["folder"] or default_folder()).resolve()
        if options["keep"] is not None and options["keep"] < 1:
            raise CommandError("--keep wants at least 1 day.", returncode=2)
        try:
            made = make_backup(folder, lock_from_settings())
        except KeepingTrouble as trouble:
            raise CommandError(str(trouble)) from trouble
        self.tell(made)
        if options["keep"] is not None:
            gone = forget_old(folder, options["keep"], options["keep_weeks"])
            self.stdout.write(f"  {len(gone)} older ones deleted")
        if made.manifest.missing:
            raise CommandError(
                f"{len(made.manifest.missing)} files that the database names are not in the store, such as "
                f"{made.manifest.missing[0]}. The backup holds everything else and can be restored."
            )

    def tell(self, made: Made) -> None:
        facts = made.manifest
        self.stdout.write(f"{made.path}")
        self.stdout.write(
            f"  {made.bytes / 1e6:,.1f} MB: {facts.rows:,} rows in {len(facts.tables)} tables, {len(facts.files):,} "
            f"stored files; proved; {'encrypted' if lock_from_settings() else 'not encrypted'}"
        )
