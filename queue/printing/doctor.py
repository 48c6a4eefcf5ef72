"""What the doctor looks at in rooms: whether anybody is there in the next weeks, so that a plan can be made."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from django.utils import timezone

from makerlab.health.doctor import Finding, Level, fine
from printing.hours import read_bells
from printing.models import Room

AHEAD_DAYS = 14


def room_hours() -> Iterator[Finding]:
    """Each room with printers wants staffed hours within a fortnight. Rooms are told by number, not by name: the
    doctor's lines may be sent to somebody outside the school."""
    rooms = Room.objects.filter(printers__isnull=False).distinct().select_related("school").order_by("pk")
    empty = []
    for room in rooms:
        bells = read_bells(room)
        today = timezone.now().astimezone(bells.zone).date()
        if not any(bells.staffed_on(today + timedelta(days=ahead)) for ahead in range(AHEAD_DAYS)):
            empty.append(room.pk)
    for pk in empty:
        remedy = "Enter hours under Set up, Room; check the school days too. Nothing can be planned until then."
        yield Finding(Level.CARE, f"room {pk} has no hours within {AHEAD_DAYS} days", remedy)
    if rooms and not empty:
        yield fine(f"{len(rooms)} rooms have hours within {AHEAD_DAYS} days")
    if not rooms:
        yield Finding(Level.CARE, "no room with a printer is set up", "Sign in as administrator and open Set up.")
