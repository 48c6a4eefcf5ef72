"""The schools of an installation, for whoever runs it: counts and limits, nobody's name or file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db.models import Count, Max, Q

from lessons.models import SchoolClass
from lessons.stored import store_max_bytes, stored_by
from makerlab.accounts.models import STAFF_ROLES, Role, School, User
from makerlab.audit.models import record
from makerlab.uploads import MEGABYTE
from makerlab.work.models import Job
from submissions.models import Submission

HEAD = ("school", "classes", "students", "staff", "files", "stored MB", "of MB", "jobs waiting", "last upload")
OPEN = Q(archived_at__isnull=True)


class Command(BaseCommand):
    help = "Lists the schools with their counts; with --store-mb sets how much one of them may store."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", nargs="?", help="one school only")
        parser.add_argument(
            "--store-mb", type=int, metavar="MB", help="what it may store from now on; 0: as all others"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        schools = School.objects.order_by("name")
        if options["name"]:
            schools = schools.filter(name=options["name"])
            if not schools.exists():
                raise CommandError(f"There is no school named {options['name']!r}.")
        if options["store_mb"] is not None:
            set_store(schools.get() if options["name"] else None, options["store_mb"])
        for line in lines([HEAD, *(row(school) for school in schools)]):
            self.stdout.write(line)


def set_store(school: School | None, megabytes: int) -> None:
    """Raises CommandError when no school is named or the number cannot be. What is stored already stays."""
    if school is None:
        raise CommandError("Name the school whose limit it is.")
    if not 0 <= megabytes <= 2_000_000:
        raise CommandError("A school may store 1 to 2,000,000 MB; 0 takes the limit of its own away.")
    before, school.store_max_mb = school.store_max_mb, megabytes or None
    school.save(update_fields=["store_max_mb"])
    record(school.pk, None, "store_max_mb", school, before=before, after=school.store_max_mb)


def row(school: School) -> tuple[object, ...]:
    """As HEAD."""
    people = User.objects.filter(school=school, is_active=True)
    counted = people.aggregate(
        students=Count("pk", filter=Q(role=Role.STUDENT)), staff=Count("pk", filter=Q(role__in=STAFF_ROLES))
    )
    uploads = Submission.objects.filter(team__school_class__school=school)
    last = uploads.aggregate(last=Max("uploaded_at"))["last"]
    return (
        school.name,
        SchoolClass.objects.filter(OPEN, school=school).count(),
        counted["students"],
        counted["staff"],
        uploads.count(),
        round(stored_by(school.pk) / MEGABYTE, 1),
        store_max_bytes(school) // MEGABYTE,
        Job.objects.filter(school_id=school.pk, state=Job.State.WAITING).count(),
        "never" if last is None else f"{last:%Y-%m-%d}",
    )


def lines(rows: list[tuple[object, ...]]) -> Iterator[str]:
    """A table: the first column to the left, the others to the right."""
    widths = [max(len(str(each[at])) for each in rows) for at in range(len(rows[0]))]
    for each in rows:
        name, *counts = (str(cell) for cell in each)
        cells = [cell.rjust(width) for cell, width in zip(counts, widths[1:], strict=True)]
        yield "  ".join([name.ljust(widths[0]), *cells])
