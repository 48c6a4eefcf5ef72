"""Figures of the page on which a lesson is given to classes."""

from __future__ import annotations

from django import template

from makerlab.components.figures import hours_and_minutes
from printing.chance import in_100 as rounded

register = template.Library()


@register.filter
def minutes_hm(minutes: int) -> str:
    """``2 h 05 min`` of minutes."""
    return hours_and_minutes(minutes * 60)


@register.filter
def in_100(share: float) -> int | None:
    """A chance as so many in 100: never 0 or 100 where it is not sure."""
    return rounded(share)
