"""What Today is made of, each kind of row read once: lab days, teams, submissions, copies of a person's classes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from lessons.classes.page import locked_out
from lessons.models import Assignment, CheckState, Team
from makerlab.accounts.models import User
from makerlab.together import rows_as, together, whole
from makerlab.work.models import Job
from printing import plan_trouble, queries
from printing.models import PrintCopy, Room, RoomPlan
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
class Locked:
    """A student who may not try to sign in now."""

    nickname: str
    school_class: str
    school_class_id: int


@dataclass(frozen=True)
class Day:
    """The rows of one person's classes. ``coming``: assignments of meetings that are not over, the soonest first;
    ``closing``: those whose time to hand in ends soon."""

    coming: Sequence[Assignment]
    closing: Sequence[Assignment]
    teams: dict[int, Team]
    sent: Sequence[Sent]
    copies: dict[int, dict[str, int]]
    locked: Sequence[Locked]
    unplaced: Sequence[tuple[Any, ...]]  # copies, as printing.plan_trouble takes them
    jobs: dict[str, Job]  # of the room

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


def read_day(user: User, room: Room | None, plan: RoomPlan | None, now: datetime) -> Day:
    """Two queries, whatever there is."""
    given = _given(user, now)
    coming = [each for each in given if each.meeting.ends_at > now][:MEETINGS_SHOWN]
    closing = [each for each in given if now < each.upload_by < now + HAND_IN_SOON]
    told = {each.pk: each for each in (*coming, *closing)}
    kits = [kit["team"] for kit in plan.facts.get("kits", [])] if plan else []
    teams = Team.objects.visible_to(user).filter(
        Q(pk__in=kits) | Q(school_class__in={each.school_class_id for each in told.values()})
    )
    found = together(
        sent=(_sent(user).filter(assignment__in=list(told)), SENT),
        waiting=(_sent(user).filter(state=State.HANDED_IN).exclude(assignment__in=list(told)), SENT),
        unordered=(_unordered(user).exclude(assignment__in=list(told)), SENT),
        teams=(teams, plan_trouble.TEAM),
        unplaced=plan_trouble.copies_wanted(plan, user),
        locked=(locked_out(user, now), ("nickname", "school_class__name", "school_class_id")),
        jobs=(queries.jobs_wanted(room, None) if room else Job.objects.none(), whole(Job)),
    )
    return Day(
        coming,
        closing,
        plan_trouble.teams_from(found["teams"]),
        [Sent(*row) for name in ("sent", "waiting", "unordered") for row in found[name]],
        {each.pk: {"wanted": each.wanted, "in_tray": each.in_tray} for each in given},  # type: ignore[attr-defined]
        [Locked(*row) for row in sorted(found["locked"], key=lambda row: (row[1], row[0]))],
        found["unplaced"],
        queries.jobs_by_kind(sorted(rows_as(Job, found["jobs"]), key=lambda job: job.pk)),
    )


def _given(user: User, now: datetime) -> list[Assignment]:
    """Lessons of meetings that are not over, or whose time to hand in ends soon, the soonest first; with the copies
    wanted for teams and those in the tray."""
    copies = PrintCopy.objects.filter(request__assignment=OuterRef("pk"), request__team__isnull=False)
    counted = copies.order_by().values("request__assignment").annotate(count=Count("pk")).values("count")
    soon = Q(upload_by__gt=now, upload_by__lt=now + HAND_IN_SOON)
    return list(
        Assignment.objects.visible_to(user)
        .filter(soon | Q(meeting__ends_at__gt=now))
        .annotate(wanted=Coalesce(Subquery(counted.exclude(state=CopyState.CANCELLED)), 0))
        .annotate(in_tray=Coalesce(Subquery(counted.filter(state=CopyState.IN_TRAY)), 0))
        .select_related("meeting__school_class", "school_class", "plan")
        .order_by("meeting__starts_at")
    )


SENT = ("assignment_id", "team_id", "state", "check_state", "verdict", "handed_in_at", "print_request__pk")


def _sent(user: User) -> QuerySet[Submission]:
    """Of this are asked, each by an index of its own: all that came in for the lessons told, and what else waits."""
    return Submission.objects.visible_to(user)


def _unordered(user: User) -> QuerySet[Submission]:
    """Approved and not ordered: found by assignment and state, among the few that are approved."""
    given = Assignment.objects.visible_to(user)
    return _sent(user).filter(assignment__in=given, state=State.APPROVED, print_request=None)
