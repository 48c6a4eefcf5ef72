"""Builds a district in the database of DATABASE_URL and asks it, step by step, each in a process of its own:

``python -m tests.bench.size.grow school CLASSES IN_THE_MIDDLE``  the schema and one school
``python -m tests.bench.size.grow copies TIMES``                  the same school so many times more
``python -m tests.bench.size.grow rows``                          how many there are
``python -m tests.bench.size.grow ask NUMBER [by-index]``         every page and moment of school NUMBER as JSON;
                                                                  ``by-index`` forbids reading a table from end to end
                                                                  wherever an index would do
``python -m tests.bench.size.grow upgrade``                       the newest migrations, taken back and done again
``python -m tests.bench.size.grow year NUMBER OTHER``             archives and deletes all classes of school NUMBER
                                                                  while school OTHER works
"""

from __future__ import annotations

import json
import logging
import os
import sys
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

_told: Callable[[str], None] = lambda said: print(said, file=sys.stderr, flush=True)  # noqa: E731


def set_up() -> None:
    """Django in a process of its own."""
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
    django.setup()
    from django.conf import settings

    settings.ALLOWED_HOSTS = ["testserver"]
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    logging.disable(logging.ERROR)


def school(classes: str, in_the_middle: str) -> None:
    from django.core.management import call_command
    from django.db import connection

    from tests.bench.size.school import make_school

    call_command("migrate", verbosity=0)
    make_school(int(classes), int(in_the_middle))
    with connection.cursor() as cursor:
        cursor.execute("VACUUM (ANALYZE)")


def copies(times: str) -> None:
    from tests.bench.size.district import copy_school

    copy_school(int(times), _told)


def rows() -> None:
    from tests.bench.size.district import count_rows

    print(count_rows())


def ask(number: str, by_index: str = "") -> None:
    from django.db import connection

    from makerlab.accounts.models import School
    from tests.bench.size.school import plan_room

    key = School.objects.get(name=f"School {int(number):03d}").pk
    if int(number):  # the plan copied from the pattern speaks of its plates
        plan_room(key)
    with connection.cursor() as cursor:
        cursor.execute(f"SET enable_seqscan = {'off' if by_index else 'on'}")
    print(json.dumps(asked(key)))


def upgrade() -> None:
    from tests.bench.size.upgrade import again

    print(json.dumps([asdict(taken) for taken in again()]))


def year(number: str, other: str) -> None:
    from makerlab.accounts.models import School
    from tests.bench.size.year import end_of_year

    keys = [School.objects.get(name=f"School {int(each):03d}").pk for each in (number, other)]
    print(json.dumps([step.told() for step in end_of_year(*keys)]))


def asked(school_id: int) -> list[dict[str, Any]]:
    """Every page and moment: its seconds, and of each question milliseconds, rows read and given, big tables read."""
    from tests.bench.size import asking

    found = [*asking.pages(school_id, 3), *asking.moments(school_id, 3)]
    return [
        {
            "name": one.name,
            "who": one.who,
            "first_s": one.first_s,
            "seconds": one.seconds,
            "questions": [
                {
                    "ms": q.ms,
                    "read": q.read,
                    "given": q.given,
                    "blocks": q.blocks,
                    "seq": sorted(q.seq),
                    "sql": asking.shape(q.sql)[:3000],
                }
                for q in one.questions
            ],
        }
        for one in found
    ]


if __name__ == "__main__":
    set_up()
    {"school": school, "copies": copies, "rows": rows, "ask": ask, "upgrade": upgrade, "year": year}[sys.argv[1]](
        *sys.argv[2:]
    )
