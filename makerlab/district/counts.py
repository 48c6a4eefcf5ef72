"""All schools in figures, in one question to the database. Nobody's name, no class's and no file's: counts only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db.models import Count, IntegerField, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from lessons.models import SchoolClass
from lessons.stored import bytes_of_a_school, store_max_bytes
from makerlab.accounts.models import STAFF_ROLES, Role, School, User
from makerlab.keeping.retention import backups_in
from makerlab.uploads import MEGABYTE
from makerlab.work.lanes import Lane
from makerlab.work.models import Job

NEARLY_FULL = 0.9  # of what a school may store; our own choice
THIS = OuterRef("pk")


@dataclass(frozen=True, slots=True)
class SchoolCounts:
    """One school: classes that are not archived, people who may sign in, bytes of its files, jobs that wait."""

    school: School
    classes: int
    staff: int
    students: int
    stored_bytes: int
    jobs_waiting: int
    oldest_waits_since: datetime | None

    @property
    def stored_mb(self) -> float:
        return self.stored_bytes / MEGABYTE

    @property
    def most_bytes(self) -> int:
        return store_max_bytes(self.school)

    @property
    def most_mb(self) -> int:
        return self.most_bytes // MEGABYTE

    @property
    def nearly_full(self) -> bool:
        return self.stored_bytes >= NEARLY_FULL * self.most_bytes


def counts_of(schools: QuerySet[School]) -> list[SchoolCounts]:
    """Of each school, by name."""
    people = User.objects.filter(is_active=True)
    waiting = Job.objects.filter(state=Job.State.WAITING, lane__in=Lane.values)  # by school, lane and state: an index
    # ``its_``: classes, people and jobs of a school are names of its own
    asked = schools.order_by("name").annotate(
        its_classes=_number(SchoolClass.objects.filter(archived_at__isnull=True)),
        its_staff=_number(people.filter(role__in=STAFF_ROLES)),
        its_students=_number(people.filter(role=Role.STUDENT)),
        its_stored_bytes=bytes_of_a_school(),
        its_jobs_waiting=_number(waiting),
        its_oldest_waits_since=Subquery(_of_this(waiting, oldest=Min("created_at")).values("oldest")),
    )
    return [
        SchoolCounts(
            school=school,
            classes=school.its_classes,
            staff=school.its_staff,
            students=school.its_students,
            stored_bytes=int(school.its_stored_bytes),
            jobs_waiting=school.its_jobs_waiting,
            oldest_waits_since=school.its_oldest_waits_since,
        )
        for school in asked
    ]


def _of_this(rows: QuerySet[Any], **figures: Any) -> QuerySet[Any, Any]:
    """Figures of the rows of the school the question is about."""
    found: QuerySet[Any, Any] = rows.filter(Q(school=THIS)).order_by().values("school").annotate(**figures)
    return found


def _number(rows: QuerySet[Any]) -> Coalesce:
    return Coalesce(Subquery(_of_this(rows, number=Count("pk")).values("number")), 0, output_field=IntegerField())


def last_backup() -> datetime | None:
    """When the newest backup of the whole installation was made, as far as this machine sees: None where no folder is
    set, where it is not there or empty, or where it may not be read."""
    if settings.BACKUPS is None:
        return None
    try:
        there = backups_in(settings.BACKUPS)
    except OSError:
        return None
    return there[-1][0] if there else None
