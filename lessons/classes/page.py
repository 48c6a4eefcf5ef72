"""What the pages of classes show, read in few queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.classes.members import members_of
from lessons.models import Assignment, Meeting, Membership, Reading, SchoolClass
from makerlab.accounts.models import User
from makerlab.components.figures import clock
from makerlab.components.marks import Mark

OVER_DAYS = 14  # without a meeting ahead, so long after the last one a class is taken to be over


@dataclass(frozen=True, slots=True)
class StudentRow:
    """A student of the table, with how signing in stands."""

    member: Membership
    mark: Mark


def class_rows(classes: QuerySet[SchoolClass]) -> QuerySet[SchoolClass]:
    """Classes with ``student_count``, ``team_count``, ``next_meeting_at`` and ``last_meeting_at``."""
    coming = Meeting.objects.filter(school_class=OuterRef("pk"), ends_at__gt=timezone.now()).order_by("starts_at")
    held = Meeting.objects.filter(school_class=OuterRef("pk")).order_by("-ends_at")
    return classes.annotate(
        student_count=Count("memberships", distinct=True),
        team_count=Count("teams", distinct=True),
        next_meeting_at=Subquery(coming.values("starts_at")[:1]),
        last_meeting_at=Subquery(held.values("ends_at")[:1]),
    ).order_by("name", "pk")


def are_over(rows: Iterable[SchoolClass], now: datetime) -> list[SchoolClass]:
    """Those of ``class_rows`` that are not archived and had their last meeting OVER_DAYS ago or longer."""
    since = now - timedelta(days=OVER_DAYS)
    met = [(row, getattr(row, "last_meeting_at", None)) for row in rows if not row.archived_at]
    return [row for row, last in met if last is not None and last < since]


def student_rows(school_class: SchoolClass, now: datetime | None = None) -> list[StudentRow]:
    """Everybody of the class by nickname."""
    now = now or timezone.now()
    return [StudentRow(member, sign_in_mark(member, now)) for member in members_of(school_class)]


def given_to(school_class: SchoolClass) -> list[Assignment]:
    """The lessons given to a class in order of their meetings, with board and, where there are readings, the moment of
    the last (``last_reading_at``)."""
    last = Reading.objects.filter(assignment=OuterRef("pk")).order_by("-entered_at").values("entered_at")[:1]
    found = school_class.assignments.annotate(last_reading_at=Subquery(last))
    return list(found.select_related("plan", "meeting", "board").order_by("meeting__starts_at"))


def locked_out(user: User, now: datetime) -> QuerySet[Membership]:
    """The students of this teacher's classes who may not try to sign in now, after too many wrong pictures."""
    members = Membership.objects.editable_by(user).filter(user__pin_locked_until__gt=now)
    return members.select_related("user", "school_class").order_by("school_class__name", "nickname")


def sign_in_mark(member: Membership, now: datetime) -> Mark:
    """Whether this student can sign in, and whether they ever did."""
    user = member.user
    if not user.pin:
        return Mark("care", "s-fix", _("has no card yet"))
    if user.pin_locked_until and user.pin_locked_until > now:
        return Mark("bad", "s-hold", _("locked until %(time)s") % {"time": clock(user.pin_locked_until)})
    if user.last_login is None:
        return Mark("plain", "s-wait", _("card made, not signed in yet"))
    return Mark("good", "s-done", _("has signed in"))


def joining_mark(school_class: SchoolClass) -> Mark:
    """Whether somebody new may join."""
    if school_class.archived_at:
        return Mark("plain", "s-out", _("archived"))
    if school_class.joining_open:
        return Mark("good", "s-pass", _("joining is open"))
    return Mark("plain", "s-hold", _("joining is closed"))
