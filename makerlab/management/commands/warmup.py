"""Compile the numerical kernels ahead of time, for an image or before a lesson."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from makerlab.work.warmup import warm_up


class Command(BaseCommand):
    help = "Compile the measuring and planning kernels and keep them on disk, so that no check has to wait for it."

    def handle(self, *args: Any, **options: Any) -> None:
        took = warm_up(self.stdout.write)
        self.stdout.write(f"Ready after {took:.0f} s.")
