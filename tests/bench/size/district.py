"""Copying a school, so many times: PostgreSQL copies its rows by itself, the keys of all copies interleaved, as if the
schools had worked through the year side by side.

The copy of row ``id`` in school ``k`` of ``n`` is ``base + id * n + k``, in every table. Every row names a file of its
own; the files themselves are not made. Beside what is copied: the plans rooms had through the year, who is signed in
this morning, and jobs that wait.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from django.apps import apps
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.db import connection, models
from django.utils import timezone

from lessons.views.sign_in import STUDENT_BACKEND
from makerlab.accounts.models import Role, School, User
from makerlab.audit.models import Event
from makerlab.work.models import Heartbeat, Job
from printing.models import Plate

BASE = 1_000_000
NOT_COPIED = {"django_migrations", "django_content_type", "auth_permission", "django_session", Heartbeat._meta.db_table}
# columns that hold a key of another table as text or JSON, or must differ from school to school
KEY = "({base} + {old}::bigint * {n} + k)"
AS_TEXT = "{key}::text"
KEYS_OF_JSON = "(SELECT coalesce(jsonb_object_agg({key_of_key}, value), '{{}}') FROM jsonb_each({column}))"
OWN = "left({column}, length({column}) - 3) || lpad(k::text, 3, '0')"
CHANGED = {
    (School, "name"): OWN,
    (User, "username"): OWN,
    (Job, "subject"): AS_TEXT,
    (Event, "subject_id"): AS_TEXT,
    (Plate, "durations_s"): KEYS_OF_JSON,
    (Plate, "estimates_s"): KEYS_OF_JSON,
}
PLANS_A_ROOM = 1000  # of a year
SIGNED_IN = 40_000  # sessions of a day: every third pupil
JOBS_WAITING = 10  # of each school
MEMORY = "512MB"  # for building an index
OF_CONSTRAINTS = "SELECT conindid FROM pg_constraint WHERE conindid <> 0"


def copied_tables() -> list[type[models.Model]]:
    """Every table of ours with a number for its key, those that others point to first."""
    kinds = [
        kind
        for kind in apps.get_models(include_auto_created=True)
        if kind._meta.managed
        and kind._meta.db_table not in NOT_COPIED
        and kind._meta.pk is not None
        and isinstance(kind._meta.pk, models.AutoField | models.BigAutoField)
    ]
    return [kind for kind in kinds if kind._default_manager.exists()]


def copy_school(times: int, told: Callable[[str], None] = print) -> None:
    """Copy the one school of this database so many times."""
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")  # the keys fit: they need not be looked up one by one
        cursor.execute("SET synchronous_commit = off")
        _keep_old_plans(cursor)
        for kind in copied_tables():
            begun, table = time.perf_counter(), kind._meta.db_table
            with _without_indexes(cursor, table):
                cursor.execute(_copying(kind, times))
            cursor.execute(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT max(id) FROM \"{table}\"))")
            told(f"{table}: {_count(cursor, table)} rows, {time.perf_counter() - begun:.0f} s")
        _let_jobs_wait(cursor)
        cursor.execute("SET session_replication_role = origin")
        sign_in(SIGNED_IN * (times + 1) // 100)
        cursor.execute("VACUUM (ANALYZE)")


def count_rows() -> int:
    """Of all tables of the database."""
    with connection.cursor() as cursor:
        return sum(_count(cursor, table) for table in connection.introspection.table_names(cursor))


def _count(cursor: Any, table: str) -> int:
    cursor.execute(f'SELECT count(*) FROM "{table}"')
    return int(cursor.fetchone()[0])


@contextmanager
def _without_indexes(cursor: Any, table: str) -> Iterator[None]:
    """Builds the table's indexes anew after the block; those of keys and rules stay."""
    cursor.execute(
        f"SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public' AND tablename = %s AND "
        f"('public.' || quote_ident(indexname))::regclass NOT IN ({OF_CONSTRAINTS})",
        [table],
    )
    found = cursor.fetchall()
    for name, _made_by in found:
        cursor.execute(f'DROP INDEX "{name}"')
    yield
    cursor.execute(f"SET maintenance_work_mem = '{MEMORY}'")
    for _name, made_by in found:
        cursor.execute(made_by)


def _keep_old_plans(cursor: Any) -> None:
    """A room had many plans through the year; none is thrown away."""
    cursor.execute(
        "INSERT INTO printing_roomplan (room_id, made_at, seconds, plates, late_kits, tardiness_min, facts, causes) "
        "SELECT room_id, made_at - g * interval '6 hours', seconds, plates, late_kits, tardiness_min, facts, causes "
        "FROM (SELECT * FROM printing_roomplan ORDER BY id DESC LIMIT 1) AS last, generate_series(%s, 1, -1) AS g",
        [PLANS_A_ROOM],
    )
    # the plan in force is the newest: it stands behind its older ones
    cursor.execute(
        "UPDATE printing_roomplan SET made_at = (SELECT max(made_at) FROM printing_roomplan) "
        "WHERE id = (SELECT max(id) FROM printing_roomplan)"
    )


def _let_jobs_wait(cursor: Any) -> None:
    """Checks of files that came this minute."""
    cursor.execute(
        "INSERT INTO work_job (kind, lane, subject, school_id, payload, priority, turn, state, attempt, worker, "
        "progress, error, created_at) "
        "SELECT 'check-submission', 'measure', '0', id, '{}', 0, g, 'waiting', 0, '', 0, '', now() "
        "FROM accounts_school, generate_series(1, %s) AS g",
        [JOBS_WAITING],
    )


def sign_in(count: int) -> None:
    """Write so many sessions as students of all schools left them this morning: most have run out."""
    people = User.objects.filter(role=Role.STUDENT).order_by("?")[:count]
    store, now = SessionStore(), timezone.now()
    Session.objects.bulk_create(
        (
            Session(
                session_key=f"{place:05d}{person.pk:027d}",
                session_data=store.encode({"_auth_user_id": str(person.pk), "_auth_user_backend": STUDENT_BACKEND}),
                expire_date=now + timedelta(minutes=120 - place % 480),
            )
            for place, person in enumerate(people.iterator())
        ),
        batch_size=2000,
    )


def _copying(kind: type[models.Model], times: int) -> str:
    """One INSERT: schools within rows, so that neighbours in the table belong to different schools."""
    table = kind._meta.db_table
    pairs = list(_columns(kind, times))
    names, values = ", ".join(name for name, _value in pairs), ", ".join(value for _name, value in pairs)
    return (
        f'INSERT INTO "{table}" ({names}) SELECT {values} FROM (SELECT * FROM "{table}" ORDER BY id) AS t '
        f"CROSS JOIN LATERAL generate_series(1, {times} + 0 * t.id) AS k"
    )


def _columns(kind: type[models.Model], times: int) -> Iterator[tuple[str, str]]:
    for each in kind._meta.concrete_fields:
        column = f't."{each.column}"'
        yield f'"{each.column}"', _value(kind, each, column, times)


def _value(kind: type[models.Model], each: models.Field[Any, Any], column: str, times: int) -> str:
    def key_of(old: str) -> str:
        return KEY.format(base=BASE, old=old, n=times + 1)

    if (kind, each.name) in CHANGED:
        pattern = CHANGED[kind, each.name]
        return pattern.format(column=column, key=key_of(column), key_of_key=key_of("key") + "::text")
    target = each.related_model if each.is_relation else None
    points = target is not None and isinstance(target._meta.pk, models.AutoField | models.BigAutoField)
    if each.primary_key or points:
        return key_of(column)
    if isinstance(each, models.UUIDField):
        return "gen_random_uuid()"
    if isinstance(each, models.FileField):
        return f"CASE WHEN {column} = '' THEN '' ELSE left({column}, 6) || md5({column} || k) END"
    if each.name == "sha256":
        return f"md5({column} || k) || md5(k || {column})"
    if each.unique:
        return OWN.format(column=column)
    return column


def copy_of(key: int, school: int, times: int) -> int:
    """The key which a row of the pattern has in the copied school of that number, 1 to ``times``."""
    return BASE + key * (times + 1) + school
