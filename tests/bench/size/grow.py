"""Fills the database of DATABASE_URL with one school, asks every page, copies the school, asks the same of a copy, and
prints both as JSON. In a process of its own: ``python -m tests.bench.size.grow CLASSES IN_THE_MIDDLE TIMES``; a fourth
word ``by-index`` forbids reading a table from end to end wherever an index would do."""

from __future__ import annotations

import json
import logging
import os
import sys
from collections.abc import Callable
from typing import Any


def main(classes: int, in_the_middle: int, times: int, by_index: bool) -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connection

    from makerlab.accounts.models import School
    from tests.bench.size import district, school

    settings.ALLOWED_HOSTS = ["testserver"]
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    logging.disable(logging.ERROR)
    call_command("migrate", verbosity=0)
    made = school.make_school(classes, in_the_middle)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    alone = asked(made.pk, by_index)
    rows = district.copy_school(times, _told)
    beside = asked(School.objects.get(name=f"School {times // 2:03d}").pk, by_index)
    print(json.dumps({"rows": rows, "alone": alone, "beside": beside}))


def asked(school_id: int, by_index: bool) -> list[dict[str, Any]]:
    """Every page and moment: its seconds, and of each question milliseconds, rows read and given, big tables read."""
    from django.db import connection

    from tests.bench.size import asking

    with connection.cursor() as cursor:
        cursor.execute(f"SET enable_seqscan = {'off' if by_index else 'on'}")
    found = [*asking.pages(school_id, 3), *asking.moments(school_id, 3)]
    return [
        {
            "name": one.name,
            "who": one.who,
            "seconds": one.seconds,
            "questions": [
                {"ms": q.ms, "read": q.read, "given": q.given, "seq": sorted(q.seq), "sql": asking.shape(q.sql)[:900]}
                for q in one.questions
            ],
        }
        for one in found
    ]


_told: Callable[[str], None] = lambda said: print(said, file=sys.stderr, flush=True)  # noqa: E731

if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:4]), "by-index" in sys.argv)
