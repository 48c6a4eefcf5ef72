"""What the students' sign-in page shows to everybody."""

from __future__ import annotations

from typing import Any

from django import template

from lessons.forms import PICTURE_CHOICES, PLACES

register = template.Library()


@register.simple_tag
def sign_in_pictures() -> dict[str, Any]:
    """The four ``places`` of a picture PIN, each with the ``name`` of its field and a ``label``, and the ``choices``
    for each: pairs of a picture and its word."""
    return {"places": [{"name": name, "label": label} for name, label in PLACES.items()], "choices": PICTURE_CHOICES}
