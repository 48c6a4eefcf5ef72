"""The way to a new release: checks, a backup, then the database is brought up to it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from makerlab.keeping.backup import lock_from_settings, make_backup
from makerlab.keeping.schema import applied_migrations, refuse_newer, waiting_migrations
from makerlab.keeping.trouble import KeepingTrouble
from makerlab.management.commands.backup import default_folder


class Command(BaseCommand):
    help = (
        "Bring the database up to this release: nothing is touched when a newer release has changed it; a backup is "
        "made and proved first. Stop the web server and the workers before."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--folder", type=Path, help="where the backup goes (default as for the command backup)")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("check", fail_level="ERROR", verbosity=0)
        try:
            refuse_newer()
            waiting = waiting_migrations()
            if not waiting:
                self.stdout.write("The database fits this release; there is nothing to do.")
                return
            if applied_migrations():
                made = make_backup((options["folder"] or default_folder()).resolve(), lock_from_settings())
                self.stdout.write(f"Backup made and proved: {made.path}")
                undo = f" Everything as it was is in {made.path}: manage.py restore FILE --into EMPTY-FOLDER."
            else:
                undo = ""
        except (KeepingTrouble, DatabaseError) as trouble:
            raise CommandError(f"Nothing was changed. {trouble}") from trouble
        self.stdout.write(f"{len(waiting)} steps: {waiting[0]} to {waiting[-1]}")
        try:
            call_command("migrate", interactive=False, verbosity=0)
        except DatabaseError as error:
            raise CommandError(f"A step did not work: {error}.{undo}") from error
        self.stdout.write("The database fits this release now. Start the web server and the workers.")
