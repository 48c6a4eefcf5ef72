"""The schools of an installation, for whoever runs it: counts and limits, nobody's name or file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db.models import Count, Max

from makerlab.accounts.models import School
from makerlab.accounts.people import NotPossible
from makerlab.district.actions import set_store
from makerlab.district.counts import SchoolCounts, counts_of
from submissions.models import Submission

HEAD = ("school", "classes", "students", "staff", "files", "stored MB", "of MB", "jobs waiting", "last upload")


class Command(BaseCommand):
    help = "Lists the schools with their counts; with --store-mb sets how much one of them may store."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", nargs="?", help="one school only")
        parser.add_argument(
            "--store-mb", type=int, metavar="MB", help="what it may store from now on; 0: as all others"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        schools = School.objects.all()
        if options["name"]:
            schools = schools.filter(name=options["name"])
            if not schools.exists():
                raise CommandError(f"There is no school named {options['name']!r}.")
        if options["store_mb"] is not None:
            if not options["name"]:
                raise CommandError("Name the school whose limit it is.")
            try:
                set_store(None, schools.get(), options["store_mb"] or None)
            except NotPossible as told:
                raise CommandError(str(told)) from told
        for line in lines([HEAD, *map(cells, counts_of(schools))]):
            self.stdout.write(line)


def cells(row: SchoolCounts) -> tuple[object, ...]:
    """As HEAD."""
    uploads = Submission.objects.filter(team__school_class__school=row.school)
    sent = uploads.aggregate(files=Count("pk"), last=Max("uploaded_at"))
    return (
        row.school.name,
        row.classes,
        row.students,
        row.staff,
        sent["files"],
        round(row.stored_mb, 1),
        row.most_mb,
        row.jobs_waiting,
        "never" if sent["last"] is None else f"{sent['last']:%Y-%m-%d}",
    )


def lines(rows: list[tuple[object, ...]]) -> Iterator[str]:
    """A table: the first column to the left, the others to the right."""
    widths = [max(len(str(each[at])) for each in rows) for at in range(len(rows[0]))]
    for each in rows:
        name, *counts = (str(cell) for cell in each)
        padded = [cell.rjust(width) for cell, width in zip(counts, widths[1:], strict=True)]
        yield "  ".join([name.ljust(widths[0]), *padded])
