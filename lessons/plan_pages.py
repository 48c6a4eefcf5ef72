"""A lesson plan's written parts in the order and grouping a page shows them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lessons.models import LessonPlan


@dataclass(frozen=True, slots=True)
class MeetingSteps:
    """The steps of one meeting and their minutes together."""

    number: int
    minutes: int
    steps: list[Mapping[str, Any]]


def steps_by_meeting(plan: LessonPlan) -> list[MeetingSteps]:
    """The plan's steps, meeting by meeting. A step without a meeting belongs to the first."""
    meetings: dict[int, list[Mapping[str, Any]]] = {}
    for step in plan.content.get("steps", []):
        meetings.setdefault(int(step.get("meeting") or 1), []).append(step)
    return [
        MeetingSteps(number, sum(int(step.get("minutes") or 0) for step in steps), steps)
        for number, steps in sorted(meetings.items())
    ]
