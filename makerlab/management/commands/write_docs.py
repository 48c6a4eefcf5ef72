"""Writes the pages of docs/ that are generated from the code."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from makerlab import states_page
from makerlab.api.site import OPENAPI, described
from makerlab.privacy import page as privacy_page


class Command(BaseCommand):
    help = "Write the generated pages of docs/. A test fails when they no longer fit the code."

    def handle(self, *args: Any, **options: Any) -> None:
        OPENAPI.write_text(described(), "utf-8")
        self.stdout.write(f"written: {OPENAPI.name}")
        for made in (states_page, privacy_page):
            made.PAGE.write_text(made.page(), "utf-8")
            self.stdout.write(f"written: {made.PAGE.name}")
