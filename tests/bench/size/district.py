"""Copying a school, so many times: PostgreSQL copies its rows by itself, the keys of all copies interleaved, as if the
schools had worked through the year side by side.

The copy of row ``id`` in school ``k`` of ``n`` is ``base + id * n + k``, in every table. Files are not copied.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

from django.apps import apps
from django.db import connection, models

from makerlab.accounts.models import School, User
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
}


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


def copy_school(times: int, told: Callable[[str], None] = print) -> int:
    """Copy the one school of this database so many times. Returns how many rows there are then."""
    kinds = copied_tables()
    rows = 0
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")  # the keys fit: they need not be looked up one by one
        cursor.execute("SET synchronous_commit = off")
        for kind in kinds:
            begun, table = time.perf_counter(), kind._meta.db_table
            cursor.execute(_copying(kind, times))
            cursor.execute(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT max(id) FROM \"{table}\"))")
            cursor.execute(f'SELECT count(*) FROM "{table}"')
            count = int(cursor.fetchone()[0])
            rows += count
            told(f"{table}: {count} rows, {time.perf_counter() - begun:.0f} s")
        cursor.execute("SET session_replication_role = origin")
        cursor.execute("ANALYZE")
    return rows


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
    if each.name == "sha256" or isinstance(each, models.FileField):
        return f"{column} || ''" if isinstance(each, models.FileField) else f"md5({column} || k) || md5(k || {column})"
    if each.unique:
        return OWN.format(column=column)
    return column


def copy_of(key: int, school: int, times: int) -> int:
    """The key which a row of the pattern has in the copied school of that number, 1 to ``times``."""
    return BASE + key * (times + 1) + school
