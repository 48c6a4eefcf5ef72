"""What is asked of the database at size: every page of every role of one school, and what workers and probes ask; each
question explained by PostgreSQL."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pyotp import random_base32

from lessons.models import Assignment
from makerlab.accounts.models import Role, SecondStep, User
from makerlab.work import actions, line
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from tests.browser.walk import models_of_nouns
from tests.makerlab.site_addresses import addresses

BIG_ROWS = 2_000  # of a table that grows with schools and years
OBJECTS = 3  # of each address so many are tried, until one answers this person
NUMBER = re.compile(r"\b\d+\b|'(?:[^']|'')*'")
SCANS = re.compile(r"Seq Scan|Index Scan|Index Only Scan|Bitmap Heap Scan")


@dataclass
class Question:
    """One SELECT and what PostgreSQL did for it. ``seq``: big tables read from end to end; ``read``: rows looked at."""

    sql: str
    ms: float
    read: int
    given: int
    seq: set[str]
    blocks: int


@dataclass
class Asked:
    """One page of one role, or one moment of the background work. ``first_s``: the first time anybody asked for it,
    with rows that may lie on the disk only; ``seconds``: each time after that."""

    name: str
    who: str
    path: str
    first_s: float = 0.0
    seconds: list[float] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    @property
    def key(self) -> tuple[str, str]:
        return self.name, self.who


def people_of(school_id: int) -> dict[str, User]:
    """One person of each role: the student and the teacher of the first class, which is in the middle of a lesson."""
    staff = User.objects.filter(school_id=school_id)
    given = Assignment.objects.filter(school_class__school_id=school_id, meeting__starts_at__gt=timezone.now())
    first = given.order_by("pk")[0].school_class
    return {
        "student": first.memberships.order_by("pk")[0].user,
        "teacher": first.teachers.get(),
        "technician": staff.get(role=Role.TECHNICIAN),
        "administrator": staff.get(role=Role.ADMINISTRATOR),
    }


def paths_for(person: User, only: frozenset[str] | None = None) -> Iterator[tuple[str, list[str]]]:
    """Every named address (or ``only`` these) that takes nothing or one object, and a few paths it may have."""
    nouns = models_of_nouns()
    for name, pattern in addresses():
        if only is not None and name not in only:
            continue
        needs = list(pattern.pattern.converters)
        if not needs:
            yield name, [reverse(name)]
        elif needs == ["pk"]:
            model = nouns[name.partition(":")[2].partition("-")[0]]
            yield name, [reverse(name, args=[key]) for key in _keys(model, person)]


def _keys(model: Any, person: User) -> list[int]:
    seen = model.objects.visible_to(person) if hasattr(model.objects, "visible_to") else model.objects.none()
    if model is User:
        seen = User.objects.filter(school_id=person.school_id).exclude(role=Role.STUDENT)
    found = list(seen.order_by("-pk").values_list("pk", flat=True)[:50])
    return found[:: max(1, len(found) // OBJECTS)][:OBJECTS]


def pages(school_id: int, repeats: int) -> Iterator[Asked]:
    """Every page of every role that answers, timed so many times; its questions of the first time after one to warm."""
    people = people_of(school_id)
    for who, person in {**people, "district": given_the_district(people["administrator"])}.items():
        client = Client()
        client.force_login(person, backend="makerlab.accounts.backends.StaffBackend")
        client.get(reverse("styleguide"))  # so that the first page is not the one that finds all templates unread
        for name, paths in paths_for(person, frozenset({"district:school-list"}) if who == "district" else None):
            for path in paths:
                begun = time.perf_counter()
                response = client.get(path)
                first_s = time.perf_counter() - begun
                if response.status_code == 200 and response["Content-Type"].startswith("text/html"):
                    found = _timed(name, who, path, lambda path=path, client=client: client.get(path), repeats)
                    found.first_s = first_s
                    yield found
                    break


def given_the_district(person: User) -> User:
    """Lets the person see the district's page."""
    User.objects.filter(pk=person.pk).update(runs_district=True)
    SecondStep.objects.update_or_create(
        user=person, defaults={"secret": random_base32(), "confirmed_at": timezone.now()}
    )
    return User.objects.get(pk=person.pk)


def _timed(name: str, who: str, path: str, act: Callable[[], Any], repeats: int) -> Asked:
    asked = Asked(name, who, path)
    with CaptureQueriesContext(connection) as captured:
        act()
    asked.questions = [explained(one["sql"]) for one in captured if one["sql"].lstrip("( ").startswith("SELECT")]
    for _again in range(repeats):
        begun = time.perf_counter()
        act()
        asked.seconds.append(time.perf_counter() - begun)
    return asked


def moments(school_id: int, repeats: int) -> Iterator[Asked]:
    """What workers, probes, chores and an upload ask, whatever page is open. Nothing of it stays written."""
    for name, act in _moments(school_id).items():
        yield _timed(name, "background", "", lambda act=act: _undone(act), repeats)


def _undone(act: Callable[[], Any]) -> None:
    with transaction.atomic():
        act()
        transaction.set_rollback(True)


def _moments(school_id: int) -> dict[str, Callable[[], Any]]:
    from lessons.stored import stored_by
    from makerlab.api.jobs import try_what_is_due
    from makerlab.health.metrics import exposition
    from makerlab.privacy.retention import forget_what_is_due

    def enqueued() -> Job:
        return actions.enqueue("check-submission", 1, school_id)

    def in_line() -> None:
        job = enqueued()
        line.expected_wait(job, line.place_in_line(job))

    return {
        "claim": lambda: [actions.claim(lane) for lane in Lane.values],
        "enqueue": enqueued,
        "place in line": in_line,
        "sweep": actions.sweep,
        "metrics": exposition,
        "stored by a school": lambda: stored_by(school_id),
        "forget what is due": forget_what_is_due,
        "webhooks due": try_what_is_due,
    }


def explained(sql: str) -> Question:
    with connection.cursor() as cursor:
        cursor.execute("EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) " + sql.replace("%", "%%"), [])
        answer = cursor.fetchone()[0]
    told = answer if isinstance(answer, list) else json.loads(answer)
    plan = told[0]["Plan"]
    nodes = list(_nodes(plan))
    big = big_tables()
    seq = {one["Relation Name"] for one in nodes if one["Node Type"] == "Seq Scan" and one["Relation Name"] in big}
    read = sum(_read(one) for one in nodes if SCANS.search(one["Node Type"]))
    blocks = plan.get("Shared Hit Blocks", 0) + plan.get("Shared Read Blocks", 0)
    return Question(sql, told[0]["Execution Time"], read, plan["Actual Rows"], seq, blocks)


def _nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for inner in plan.get("Plans", []):
        yield from _nodes(inner)


def _read(node: dict[str, Any]) -> int:
    removed = node.get("Rows Removed by Filter", 0) + node.get("Rows Removed by Index Recheck", 0)
    return int((node["Actual Rows"] + removed) * node["Actual Loops"])


_big: dict[str, frozenset[str]] = {}


def big_tables() -> frozenset[str]:
    """Tables of this database with many rows, as it was told last by ANALYZE."""
    name = connection.settings_dict["NAME"]
    if name not in _big:
        with connection.cursor() as cursor:
            cursor.execute("SELECT relname FROM pg_class WHERE relkind = 'r' AND reltuples >= %s", [BIG_ROWS])
            _big[name] = frozenset(row[0] for row in cursor.fetchall())
    return _big[name]


def shape(sql: str) -> str:
    """The question without its values."""
    return NUMBER.sub("?", sql)


def worst(asked: list[Asked], count: int) -> list[tuple[Asked, Question]]:
    """The questions that took longest, each shape once."""
    pairs = sorted(((one, q) for one in asked for q in one.questions), key=lambda pair: -pair[1].ms)
    seen: set[str] = set()
    fresh = ((one, q) for one, q in pairs if not (shape(q.sql) in seen or seen.add(shape(q.sql))))
    return list(islice(fresh, count))
