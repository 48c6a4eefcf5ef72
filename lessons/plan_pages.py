"""A lesson plan's written parts in the order and grouping a page shows them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from lessons.lab.experiment import Experiment, ExperimentError, read_experiment
from lessons.models import Assignment, KitPart, LessonPlan
from lessons.plans.cautions import LAB_DAY, PRINTING, TOOLS, all_cautions
from lessons.plans.cost import GroupCost, cost_of_group
from lessons.plans.expected import expected_of
from lessons.plans.minutes import MeetingMinutes, meeting_length, minutes_of
from makerlab.accounts.models import User


@dataclass(frozen=True, slots=True)
class MeetingSteps:
    """The steps of one meeting and their minutes together. A step that begins a kind of work which can hurt has the
    cautions for it under ``before``."""

    number: int
    minutes: int
    steps: list[Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class PlanPage:
    """What the pages, sheets and preview of a plan show. ``cost``, ``off`` and ``text["expected"]``
    are for staff."""

    plan: LessonPlan
    text: dict[str, Any]
    meetings: list[MeetingSteps]
    parts: list[KitPart]
    cost: GroupCost | None = None
    off: tuple[MeetingMinutes, ...] = ()

    @property
    def experiment(self) -> Experiment | None:
        """None when the plan has none or it cannot be run as written."""
        try:
            return read_experiment(self.plan.content)
        except ExperimentError:
            return None


def plan_page(plan: LessonPlan, user: User, parts: Iterable[KitPart] | None = None) -> PlanPage:
    """Everything about the plan this person reads; ``parts`` where they are known already."""
    kit = list(kit_of(plan) if parts is None else parts)
    text = {**plan.content, "cautions": all_cautions(plan.content, bool(kit))}
    meetings = steps_by_meeting(plan, text["cautions"])
    if user.is_student:
        return PlanPage(plan, text, meetings, kit)
    length = meeting_length(plan.content, plan.school_id)
    off = tuple(each for each in minutes_of(plan.content, plan.meetings_count, length) if each.off)
    cost = cost_of_group(plan.school_id, kit, plan.content)
    return PlanPage(plan, {**text, "expected": expected_of(plan.content)}, meetings, kit, cost, off)


def kit_of(plan: LessonPlan) -> Iterable[KitPart]:
    """The parts a team gets, without the long columns."""
    return plan.kit_parts.filter(archived_at=None).select_related("gauge").defer("report", "picture")


def steps_by_meeting(plan: LessonPlan, cautions: Iterable[Mapping[str, Any]] = ()) -> list[MeetingSteps]:
    """The plan's steps, meeting by meeting. A step without a meeting belongs to the first."""
    told = list(cautions)
    meetings: dict[int, list[Mapping[str, Any]]] = {}
    shown: set[tuple[int, str]] = set()
    for step in plan.content.get("steps", []):
        number, kind = int(step.get("meeting") or 1), step.get("kind") or ""
        before = []
        if kind in (PRINTING, TOOLS, LAB_DAY) and (number, kind) not in shown:
            shown.add((number, kind))
            before = [row for row in told if row.get("when") == kind]
        meetings.setdefault(number, []).append({**step, "before": before})
    return [
        MeetingSteps(number, sum(int(step.get("minutes") or 0) for step in steps), steps)
        for number, steps in sorted(meetings.items())
    ]


def given(plan: LessonPlan, user: User) -> Iterable[Assignment]:
    """Where this person gave the plan."""
    return plan.assignments.editable_by(user).select_related("school_class", "meeting")
