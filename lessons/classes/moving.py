"""What moving a meeting would do: worked out before, done the same way when it is moved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from lessons.classes.members import fingerprint
from lessons.models import Assignment, Meeting
from lessons.school_days import Slot

ALONG, KEEP = "along", "keep"
# higher layers say what else a move does: called with the meeting and its new start, return sentences
effect_sources: list[Callable[[Meeting, datetime], list[str]]] = []


@dataclass(frozen=True, slots=True)
class NewLimit:
    """Until when files of one assignment may come in, before and after. ``cut``: it would have ended after the meeting
    begins, so it ends when the meeting begins."""

    assignment: Assignment
    before: datetime
    after: datetime
    cut: bool


@dataclass(frozen=True, slots=True)
class Move:
    """Everything a move does, and a fingerprint of what it was worked out from."""

    slot: Slot
    limits: tuple[NewLimit, ...]
    sentences: tuple[str, ...]
    seen: str


def work_out(meeting: Meeting, slot: Slot, rule: str) -> Move:
    """``rule`` ALONG keeps the distance between the limit for files and the meeting; KEEP keeps the limit, but never
    after the meeting begins. Changes nothing."""
    assignments = list(meeting.assignments.select_related("plan", "school_class").order_by("pk"))
    limits = tuple(_limit(assignment, meeting, slot, rule) for assignment in assignments)
    sentences = tuple(line for source in effect_sources for line in source(meeting, slot.starts_at))
    now = [meeting.starts_at, meeting.ends_at, [(each.pk, each.upload_by) for each in assignments]]
    new = [slot.starts_at.isoformat(), slot.ends_at.isoformat(), rule]
    return Move(slot, limits, sentences, fingerprint([now, new]))


def _limit(assignment: Assignment, meeting: Meeting, slot: Slot, rule: str) -> NewLimit:
    before = assignment.upload_by
    after = slot.starts_at - (meeting.starts_at - before) if rule == ALONG else before
    cut = after > slot.starts_at
    return NewLimit(assignment, before, slot.starts_at if cut else after, cut)
