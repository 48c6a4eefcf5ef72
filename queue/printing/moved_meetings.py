"""What moving a lab day does to the room: told before, and planned for after."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import Meeting
from makerlab.components.figures import day_clock
from printing.models import PrintCopy
from printing.states import CopyState

ON_THEIR_WAY = (CopyState.WAITING, CopyState.PLANNED, CopyState.PRINTING)


def effect_on_room(meeting: Meeting, starts_at: datetime) -> list[str]:
    """How many copies are still to be printed for it, and whether the plan in force has them ready by the new time."""
    copies = PrintCopy.objects.filter(request__assignment__meeting=meeting, state__in=ON_THEIR_WAY)
    count = copies.count()
    if not count:
        return []
    told = [
        ngettext(
            "%(count)d copy is still to be printed for it; the room is planned again.",
            "%(count)d copies are still to be printed for it; the room is planned again.",
            count,
        )
        % {"count": count}
    ]
    unplaced = copies.filter(plate__cleared_at__isnull=True).exists()
    ready_at = copies.aggregate(last=Max("plate__cleared_at"))["last"]
    if ready_at is None or unplaced:
        return told
    words = (
        _("By the plan as it is they are ready %(at)s, before the new time.")
        if ready_at <= starts_at
        else _("By the plan as it is they are ready %(at)s, after the new time.")
    )
    return [*told, words % {"at": day_clock(ready_at)}]
