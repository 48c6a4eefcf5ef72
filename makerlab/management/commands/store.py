"""Proves the store of uploaded files; makes its bucket."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.work.stored_files import is_folder, prove_store


class Command(BaseCommand):
    help = (
        "Write, read and delete a small file in the store of uploaded files, so that what is wrong with it is told now."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--make", action="store_true", help="make the bucket first if it is not there")

    def handle(self, *args: Any, **options: Any) -> None:
        place = str(settings.MEDIA_ROOT) if is_folder() else f"the bucket {settings.ENVIRONMENT.s3_bucket}"
        try:
            if options["make"] and not is_folder():
                self.make()
            prove_store()
        except Exception as error:  # whatever the library says of it, in one line
            raise CommandError(f"The store, {place}, does not work: {error}") from error
        self.stdout.write(f"The store, {place}, works: a file was written, read and deleted.")

    def make(self) -> None:
        bucket = default_storage.bucket  # type: ignore[attr-defined]  # a store that is no folder is a bucket
        if bucket.creation_date is None:
            bucket.create()
