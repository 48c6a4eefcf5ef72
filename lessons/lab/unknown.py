"""Reasons of pure code in the reader's language: the catalogue gathers them where ``Unknown`` is made."""

from __future__ import annotations

from django.utils.translation import gettext as _

from lessons.science.values import Unknown


def why_not(unknown: Unknown) -> str:
    """Why there is no figure, translated; nothing when no reason was given."""
    return _(unknown.because) if unknown.because else ""
