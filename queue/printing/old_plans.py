"""Plans nobody reads any more. A room has several a day; each holds what every plate and lab day was to be."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone

from printing.changes_page import PLANS_READ
from printing.models import Room, RoomPlan

KEPT = timedelta(days=30)  # our own choice


def forget_old_plans(now: datetime | None = None) -> int:
    """Delete each room's plans that are older than ``KEPT``, but the newest ones, of which whoever comes back is told
    what has changed. Returns how many went."""
    old = RoomPlan.objects.filter(made_at__lt=(now or timezone.now()) - KEPT)
    count = 0
    for room in Room.objects.values_list("pk", flat=True):
        newest = RoomPlan.objects.filter(room=room).order_by("-pk").values_list("pk", flat=True)
        oldest_read = newest[PLANS_READ - 1 : PLANS_READ].first()
        if oldest_read is not None:
            count += old.filter(room=room, pk__lt=oldest_read).delete()[0]
    return count
