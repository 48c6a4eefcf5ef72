"""Which settings are in force, and from where."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from makerlab.environment import read_environment, unknown_names, variables


class Command(BaseCommand):
    help = (
        "Print every variable of the environment that Makerlab reads: its value (secrets masked), whence, what it does."
    )
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        lines = list(variables(read_environment()))
        width = max(len(line.name) for line in lines)
        for line in lines:
            self.stdout.write(f"{line.name:<{width}}  {line.value or '(not set)'}  [{line.source}]")
            self.stdout.write(f"{'':<{width}}  {line.meaning}")
        for name, meant in unknown_names():
            hint = f"; did you mean {meant}?" if meant else ""
            self.stdout.write(self.style.WARNING(f"{name} is set and nothing reads it{hint}"))
