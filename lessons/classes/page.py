"""What the pages of classes show, read in few queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.classes.members import members_of
from lessons.models import Meeting, Membership, SchoolClass
from makerlab.components.figures import clock
from makerlab.components.marks import Mark


@dataclass(frozen=True, slots=True)
class StudentRow:
    """A student of the table, with how signing in stands."""

    member: Membership
    mark: Mark


def class_rows(classes: QuerySet[SchoolClass]) -> QuerySet[SchoolClass]:
    """Classes with ``student_count``, ``team_count`` and ``next_meeting_at``."""
    coming = Meeting.objects.filter(school_class=OuterRef("pk"), ends_at__gt=timezone.now()).order_by("starts_at")
    return classes.annotate(
        student_count=Count("memberships", distinct=True),
        team_count=Count("teams", distinct=True),
        next_meeting_at=Subquery(coming.values("starts_at")[:1]),
    ).order_by("name", "pk")


def student_rows(school_class: SchoolClass, now: datetime | None = None) -> list[StudentRow]:
    """Everybody of the class by nickname."""
    now = now or timezone.now()
    return [StudentRow(member, sign_in_mark(member, now)) for member in members_of(school_class)]


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
