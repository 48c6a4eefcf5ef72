"""What the last change of the queue did to every meeting: the plan before it beside the plan after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from lessons.models import Assignment
from makerlab.accounts.models import User
from makerlab.components.figures import day_clock
from makerlab.components.marks import Mark
from printing.chance import in_100
from printing.models import RoomPlan

EVEN_IN_100 = 2  # played courses scatter


@dataclass(frozen=True)
class MeetingEffect:
    """One lab day: the chance that all its teams have everything, and when the last is ready, before and after."""

    name: str
    deadline: datetime
    chance_before: int | None
    chance_after: int | None
    ready_before: str
    ready_after: str
    mark: Mark


@dataclass(frozen=True)
class Effect:
    """``said`` is what was changed. ``rows`` is empty while the plan after it is not there yet."""

    said: str
    is_pending: bool
    rows: tuple[MeetingEffect, ...]


def effect_of(note: Mapping[str, Any] | None, user: User, newest: RoomPlan | None) -> Effect | None:
    """``note``: what was kept of the change, with the plan before it. None when nothing was changed."""
    if not note or newest is None:
        return None
    if newest.pk <= note["plan"]:
        return Effect(note["said"], True, ())
    before = RoomPlan.objects.filter(pk=note["plan"]).first()
    if before is None:
        return None
    given = Assignment.objects.visible_to(user).filter(pk__in=_assignments(before) | _assignments(newest))
    rows = [
        _row(assignment, before, newest)
        for assignment in given.select_related("school_class", "meeting").order_by("meeting__starts_at")
    ]
    return Effect(note["said"], False, tuple(rows))


def _assignments(plan: RoomPlan) -> set[int]:
    return {kit["assignment"] for kit in plan.facts.get("kits", [])}


def _row(assignment: Assignment, before: RoomPlan, after: RoomPlan) -> MeetingEffect:
    chances = [in_100(plan.facts.get("chance_by_assignment", {}).get(str(assignment.pk))) for plan in (before, after)]
    ready = [_ready(plan, assignment.pk) for plan in (before, after)]
    return MeetingEffect(
        name=str(assignment.school_class),
        deadline=assignment.meeting.starts_at,
        chance_before=chances[0],
        chance_after=chances[1],
        ready_before=day_clock(ready[0]) if ready[0] else _("not planned"),
        ready_after=day_clock(ready[1]) if ready[1] else _("not planned"),
        mark=_mark(chances, ready),
    )


def _ready(plan: RoomPlan, assignment_id: int) -> datetime | None:
    """When the last kit of the class is cleared by the plan; None when one has no time."""
    times = [kit["ready_at"] for kit in plan.facts.get("kits", []) if kit["assignment"] == assignment_id]
    found = [moment for at in times if at and (moment := parse_datetime(at))]
    return max(found) if found and len(found) == len(times) else None


def _mark(chances: list[int | None], ready: list[datetime | None]) -> Mark:
    gain = (chances[1] or 0) - (chances[0] or 0) if None not in chances else 0
    if gain > EVEN_IN_100:
        return Mark("good", "s-done", _("%(count)d in 100 more") % {"count": gain})
    if gain < -EVEN_IN_100:
        return Mark("bad", "s-late", _("%(count)d in 100 less") % {"count": -gain})
    if ready[0] and ready[1] and ready[0] != ready[1]:
        sooner = ready[1] < ready[0]
        return Mark("plain", "s-wait", _("ready sooner") if sooner else _("ready later"))
    return Mark("plain", "s-pass", _("as before"))
