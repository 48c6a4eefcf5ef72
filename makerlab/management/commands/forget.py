"""Deletes what is past its time."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from makerlab.privacy.retention import forget_what_is_due


class Command(BaseCommand):
    help = "Delete classes past the time their school keeps them. The worker does this once a day by itself."

    def handle(self, *args: Any, **options: Any) -> None:
        classes, students = forget_what_is_due()
        self.stdout.write(f"deleted: {classes} classes, {students} students who were in no class any more")
