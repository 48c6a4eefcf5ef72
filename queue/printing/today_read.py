"""What Today is made of, each kind of row read once: lab days, teams, submissions, copies of a person's classes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import Count, F, Q

from lessons.models import Assignment, CheckState, Team
from makerlab.accounts.models import User
from printing.models import PrintCopy, RoomPlan
from printing.states import CopyState
from submissions.models import Submission
from submissions.states import State

HAND_IN_SOON = timedelta(days=2)
MEETINGS_SHOWN = 6


@dataclass(frozen=True)
class Sent:
    """What Today tells of one submission. ``ordered``: it has its print request."""

    assignment_id: int
    team_id: int
    state: str
    check_state: str
    verdict: str
    handed_in_at: datetime | None
    ordered: int | None


@dataclass(frozen=True)
class Day:
    """The rows of one person's classes. ``coming``: assignments of meetings that are not over, the soonest first;
    ``closing``: those whose time to hand in ends soon."""

    coming: Sequence[Assignment]
    closing: Sequence[Assignment]
    teams: dict[int, Team]
    sent: Sequence[Sent]
    copies: dict[int, dict[str, int]]

    @cached_property
    def of_class(self) -> dict[int, list[Team]]:
        found: dict[int, list[Team]] = {}
        for team in self.teams.values():
            found.setdefault(team.school_class_id, []).append(team)
        return found

    @cached_property
    def handed_in(self) -> Sequence[Sent]:
        """What waits for a decision, checked or not yet."""
        return [row for row in self.sent if row.state == State.HANDED_IN]

    @cached_property
    def pile(self) -> Sequence[Sent]:
        """What can be decided now."""
        return [row for row in self.handed_in if row.check_state == CheckState.CHECKED]

    @cached_property
    def unordered(self) -> int:
        """How many were approved before there was a room."""
        return sum(row.state == State.APPROVED and row.ordered is None for row in self.sent)

    def teams_with(self, assignment: Assignment, states: Sequence[str]) -> set[int]:
        """The teams that have a submission in one of these states."""
        return {row.team_id for row in self.sent if row.assignment_id == assignment.pk and row.state in states}

    def counts(self, assignment: Assignment) -> dict[str, int]:
        """Teams that handed in, teams approved, copies wanted for teams and those in the tray."""
        return {
            "handed_in": len(self.teams_with(assignment, [State.HANDED_IN, State.APPROVED])),
            "approved": len(self.teams_with(assignment, [State.APPROVED])),
        } | self.copies.get(assignment.pk, {"wanted": 0, "in_tray": 0})


def read_day(user: User, plan: RoomPlan | None, now: datetime) -> Day:
    """Four queries, whatever there is."""
    soon = Q(upload_by__gt=now, upload_by__lt=now + HAND_IN_SOON)
    given = list(
        Assignment.objects.visible_to(user)
        .filter(soon | Q(meeting__ends_at__gt=now))
        .select_related("meeting__school_class", "school_class", "plan")
        .order_by("meeting__starts_at")
    )
    coming = [each for each in given if each.meeting.ends_at > now][:MEETINGS_SHOWN]
    closing = [each for each in given if now < each.upload_by < now + HAND_IN_SOON]
    told = {each.pk: each for each in (*coming, *closing)}
    kits = [kit["team"] for kit in plan.facts.get("kits", [])] if plan else []
    classes = {each.school_class_id for each in told.values()}
    teams = (
        Team.objects.visible_to(user)
        .filter(Q(pk__in=kits) | Q(school_class__in=classes))
        .select_related("school_class")
        .order_by("school_class_id", "number")
    )
    return Day(coming, closing, {team.pk: team for team in teams}, _sent(user, list(told)), _copies(list(told)))


def _sent(user: User, assignment_ids: Sequence[int]) -> list[Sent]:
    """What waits, what was not ordered, and all that came in for these assignments."""
    open_ends = Q(state=State.HANDED_IN) | Q(state=State.APPROVED, print_request=None)
    rows = (
        Submission.objects.visible_to(user)
        .filter(open_ends | Q(assignment__in=assignment_ids))
        .order_by()
        .values_list("assignment_id", "team_id", "state", "check_state", "verdict", "handed_in_at", "print_request__pk")
    )
    return [Sent(*row) for row in rows]


def _copies(assignment_ids: Sequence[int]) -> dict[int, dict[str, int]]:
    """For each assignment the copies wanted for teams, and those in the tray."""
    if not assignment_ids:
        return {}
    rows: Any = (
        PrintCopy.objects.filter(request__assignment__in=assignment_ids, request__team__isnull=False)
        .exclude(state=CopyState.CANCELLED)
        .order_by()
        .values(assignment_id=F("request__assignment_id"))
        .annotate(wanted=Count("pk"), in_tray=Count("pk", filter=Q(state=CopyState.IN_TRAY)))
    )
    return {row["assignment_id"]: {"wanted": row["wanted"], "in_tray": row["in_tray"]} for row in rows}
