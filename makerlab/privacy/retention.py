"""How long a class is kept, and taking out what is past its time. Once a day (``manage.py forget``, or the worker)."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.sessions.models import Session
from django.db.models import Max, OuterRef, Subquery
from django.utils import timezone

from lessons.models import Assignment, Meeting, Membership, SchoolClass
from makerlab.accounts.models import Role, School, User
from makerlab.audit.models import Event
from makerlab.privacy.erasing import NotPossible, end_sessions, erase_student, shrink, take_out_class

log = logging.getLogger("makerlab.privacy")
SESSIONS_AT_ONCE = 10_000
SLEEPING = timedelta(days=365)  # a class nobody archived counts as over when nothing happened in it for so long


@dataclass(frozen=True, slots=True)
class Due:
    """When a class goes. ``archived``: counted from its archiving, else from the last thing that happened in it."""

    school_class: SchoolClass
    at: datetime
    archived: bool


def due_dates(school: School) -> list[Due]:
    """Every class with the moment from which it is deleted, the next one first."""
    keep = timedelta(days=school.keep_days)
    rows = SchoolClass.objects.filter(school=school).annotate(
        met=_last(Meeting, "ends_at"),
        signed_in=_last(Membership, "user__last_login"),
        handed=_last(Assignment, "upload_by"),
    )
    found = []
    for row in rows:
        if row.archived_at:
            found.append(Due(row, row.archived_at + keep, True))
        else:
            moments = (row.created_at, *(getattr(row, name) for name in ("met", "signed_in", "handed")))
            last = max(moment for moment in moments if moment)
            found.append(Due(row, last + SLEEPING + keep, False))
    return sorted(found, key=lambda due: (due.at, due.school_class.pk))


def _last(model: type[Meeting | Membership | Assignment], moment: str) -> Subquery:
    """The last of these moments of a class."""
    rows = model._default_manager.filter(school_class=OuterRef("pk")).order_by().values("school_class")
    return Subquery(rows.annotate(last=Max(moment)).values("last"))


def forget_what_is_due(now: datetime | None = None) -> tuple[int, int]:
    """Delete classes past their time, students who are in no class any more, and records older than the longest time a
    class can have been kept. Returns how many classes and students went; what cannot go now goes the next day."""
    now = now or timezone.now()
    classes = students = 0
    for school in School.objects.all():
        gone: list[int] = []
        for due in due_dates(school):
            if due.at > now:
                continue
            try:
                gone += take_out_class(None, due.school_class)
                classes += 1
            except NotPossible:
                log.warning("class %s is past its time but something of it prints", due.school_class.pk)
        if gone:
            end_sessions(gone)
            shrink()
        for person in User.objects.filter(school=school, role=Role.STUDENT, is_active=False, memberships__isnull=True):
            erase_student(None, person)
            students += 1
        Event.objects.filter(school=school, at__lt=now - SLEEPING - timedelta(days=school.keep_days)).delete()
    return classes, students


def forget_old_sessions(now: datetime | None = None) -> int:
    """Delete sessions that have run out, some at a time. Returns how many."""
    over = Session.objects.filter(expire_date__lt=now or timezone.now())
    count = 0
    while keys := list(over.values_list("pk", flat=True)[:SESSIONS_AT_ONCE]):
        count += Session.objects.filter(pk__in=keys).delete()[0]
    return count
