"""Small filters of the room's pages."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context

from makerlab.components.figures import with_unit
from printing.models import Room
from printing.queries import rooms_of
from printing.timeline import ROW, TOP

register = template.Library()


@register.filter
def row_y(row: int) -> float:
    """Where the row of a printer begins on the timetable."""
    return TOP + ROW * row


@register.filter
def percent(value: float) -> str:
    """``84 %``, with a space that does not break."""
    return f"{value:.0f}\u00a0%"


@register.filter
def half_plus(value: float, more: float) -> float:
    """Radius of a ring that begins ``more`` from the middle and is ``value`` thick."""
    return round(value / 2 + more, 1)


@register.filter
def as_hours(hours: float) -> str:
    """``41 h``; tenths below ten."""
    return with_unit(hours, "h", 1 if hours < 10 else 0)


@register.filter
def as_minutes(seconds: float) -> float:
    """Seconds in minutes."""
    return seconds / 60


@register.filter
def as_percent(share: float) -> float:
    """A share of one in percent."""
    return 100 * share


@register.inclusion_tag("printing/room_switch.html", takes_context=True)
def room_switch(context: Context, room: Room | None) -> dict[str, Any]:
    """The room's name, and where the school has more rooms, a button to each of them."""
    request = context["request"]
    rooms = getattr(request, "rooms", None)
    if rooms is None:
        rooms = rooms_of(request.user)
    others = [other for other in rooms if other.pk != room.pk] if room else []
    return {"request": request, "csrf_token": context.get("csrf_token"), "room": room, "others": others}
