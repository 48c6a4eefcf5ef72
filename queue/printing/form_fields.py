"""Form fields that several forms of the room share."""

from __future__ import annotations

from typing import Any

from django import forms


def number(label: Any, least: float, most: float, help_text: Any = "", required: bool = True) -> forms.FloatField:
    """A figure; its unit stands in the field's name."""
    return forms.FloatField(
        label=label, min_value=least, max_value=most, help_text=help_text, required=required,
        widget=forms.NumberInput({"step": "any", "inputmode": "decimal", "autocomplete": "off"}),
    )  # fmt: skip
