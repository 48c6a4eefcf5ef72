"""The invented school, loaded once."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand

from makerlab.accounts.models import School
from makerlab.demo.loader import load
from makerlab.work.warmup import warm_up


class Command(BaseCommand):
    help = "Load the invented school when the database holds no school; its files are checked for real."

    def handle(self, *args: Any, **options: Any) -> None:
        if School.objects.exists():
            return
        began = time.perf_counter()
        warm_up(self.say)
        load(self.say)
        self.say(f"Set up in {time.perf_counter() - began:.0f} s.")

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
