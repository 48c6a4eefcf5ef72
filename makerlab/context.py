"""What every page needs."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest


def page(request: HttpRequest) -> dict[str, Any]:
    """Whether this is the demo; pages show a line about it."""
    return {"demo": settings.DEMO}
