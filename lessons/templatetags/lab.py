"""Small tags of the lab pages."""

from __future__ import annotations

import uuid

from django import template

register = template.Library()


@register.filter
def at_key(value: float) -> str:
    """A value of the changed variable as it stands in an address."""
    return f"{value:g}"


@register.simple_tag
def new_entry() -> str:
    """The name of a reading still to be entered."""
    return str(uuid.uuid4())
