"""The end of a school year: every class of one school is archived, and when its days are over it is deleted, while
another school goes on uploading."""

from __future__ import annotations

import re
import resource
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import timedelta
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from lessons.models import Assignment, Meeting, SchoolClass
from lessons.stored import lock_school
from makerlab.accounts.models import Role, School, User
from makerlab.privacy.retention import forget_what_is_due
from submissions.models import Submission
from tests.bench.size.beside import beside

TABLE = re.compile(r'(?:FROM|INTO|UPDATE) "(\w+)"')
LOOK_S = 0.05
CONTENT = b"as good as any other file"


@dataclass
class Step:
    """One step: seconds; questions to the database by verb and table, and the seconds of each kind; MB the process had
    at most; and the longest wait, in seconds, of somebody who stores a file meanwhile: in another school, and in the
    same."""

    name: str
    seconds: float = 0.0
    queries: Counter[str] = field(default_factory=Counter)
    asking_s: Counter[str] = field(default_factory=Counter)
    most_mb: float = 0.0
    other_waits_s: float = 0.0
    own_waits_s: float = 0.0

    def told(self) -> dict[str, Any]:
        dear = {kind: [self.queries[kind], round(spent, 2)] for kind, spent in self.asking_s.most_common(12)}
        whole = {name: value for name, value in asdict(self).items() if name != "asking_s"}
        return {**whole, "queries": sum(self.queries.values()), "by_kind": dear}


def end_of_year(school_id: int, other_id: int) -> Iterator[Step]:
    """Archive and delete all classes of the school. Writes: the school has none of them afterwards."""
    school = School.objects.get(pk=school_id)
    _store_files(school_id)
    _lessons_are_over(school)
    head = User.objects.filter(school=school, role=Role.ADMINISTRATOR)[0]
    client = Client()
    client.force_login(head, backend="makerlab.accounts.backends.StaffBackend")
    ticked = [str(pk) for pk in SchoolClass.objects.filter(school=school).values_list("pk", flat=True)]
    yield _measured("archive all classes", school_id, other_id, lambda: _archive(client, ticked))
    assert not SchoolClass.objects.filter(school=school, archived_at=None).exists()
    long_ago = timezone.now() - timedelta(days=school.keep_days + 1)
    yield _measured("daily run with nothing due", school_id, other_id, forget_what_is_due)
    SchoolClass.objects.filter(school=school).update(archived_at=long_ago)
    yield _measured("daily run when the year's classes are due", school_id, other_id, forget_what_is_due)
    assert not SchoolClass.objects.filter(school=school).exists()


def _store_files(school_id: int) -> None:
    """A file for every row that names one."""
    named = Submission.objects.filter(assignment__school_class__school=school_id).exclude(file="")
    for name in named.values_list("file", flat=True).iterator():
        if not default_storage.exists(name):
            default_storage.save(name, ContentFile(CONTENT))


def _lessons_are_over(school: School) -> None:
    ahead = Meeting.objects.filter(school_class__school=school, ends_at__gt=timezone.now())
    for meeting in ahead:
        at = timezone.now() - timedelta(days=2)
        Meeting.objects.filter(pk=meeting.pk).update(starts_at=at, ends_at=at + timedelta(minutes=50))
        Assignment.objects.filter(meeting=meeting).update(upload_by=at - timedelta(days=1))


def _archive(client: Client, ticked: list[str]) -> None:
    answer = client.post(reverse("lessons:class-archive-several"), {"class": ticked})
    assert answer.status_code == 302


def _measured(name: str, school_id: int, other_id: int, act: Callable[[], Any]) -> Step:
    step = Step(name)

    def counted(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        kind, begun = _kind(sql), time.perf_counter()
        step.queries[kind] += 1
        try:
            return execute(sql, params, many, context)
        finally:
            step.asking_s[kind] += time.perf_counter() - begun

    with _storing(other_id) as others, _storing(school_id) as own, connection.execute_wrapper(counted):
        begun = time.perf_counter()
        act()
        step.seconds = time.perf_counter() - begun
    step.other_waits_s, step.own_waits_s = max(others, default=0.0), max(own, default=0.0)
    step.most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return step


def _kind(sql: str) -> str:
    """Its verb and the table it is about."""
    verb = sql.split(None, 1)[0]
    found = TABLE.search(sql)
    return f"{verb} {found[1]}" if found else verb


@contextmanager
def _storing(school_id: int) -> Iterator[list[float]]:
    """Somebody in that school stores a file again and again: how long each time the school's lock took, in seconds."""
    waits: list[float] = []

    def store() -> None:
        begun = time.perf_counter()
        with transaction.atomic():
            lock_school(school_id)
        waits.append(time.perf_counter() - begun)

    with beside(store, LOOK_S):
        yield waits
