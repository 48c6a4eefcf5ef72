"""What is wrong with this installation."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from makerlab.health.doctor import Level, examine


class Command(BaseCommand):
    help = (
        "Look at database, storage, disk, permissions, worker, kernels, clock, hours and backups: a line for each, and "
        "the remedy. Exit code 1 when something is wrong, with --strict also when something wants care."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--strict", action="store_true", help="exit code 1 also for what only wants care")

    def handle(self, *args: Any, **options: Any) -> None:
        marks = {
            Level.FINE: self.style.SUCCESS("fine "),
            Level.CARE: self.style.WARNING("care "),
            Level.WRONG: self.style.ERROR("WRONG"),
        }
        worst = Level.FINE
        for finding in examine():
            worst = max(worst, finding.level)
            self.stdout.write(f"{marks[finding.level]}  {finding.what}")
            if finding.remedy:
                self.stdout.write(f"       {finding.remedy}")
        if worst == Level.WRONG or (options["strict"] and worst == Level.CARE):
            sys.exit(1)
