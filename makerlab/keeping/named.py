"""Which stored files the rows of the database name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from django.db import connection
from django.db.models import FileField

from makerlab.keeping.schema import models_of_database

Fetch = Callable[[str], list[tuple[Any, ...]]]


def named_files() -> set[str]:
    """The stored files that rows name at this moment."""
    with connection.cursor() as cursor:

        def fetch(query: str) -> list[tuple[Any, ...]]:
            cursor.execute(query)
            return list(cursor.fetchall())

        return files_named(fetch)


def file_columns() -> Iterator[tuple[str, str]]:
    """Table and column of every stored file, as the database has them: before an upgrade those of the older release."""
    for model in models_of_database():
        for field in model._meta.concrete_fields:
            if isinstance(field, FileField) and field.column:
                yield model._meta.db_table, field.column


def files_named(fetch: Fetch) -> set[str]:
    """The same of a database that ``fetch`` asks: rows of a query."""
    found: set[str] = set()
    for table, column in file_columns():
        rows = fetch(f'SELECT "{column}" FROM "{table}" WHERE "{column}" <> \'\'')
        found.update(str(row[0]) for row in rows)
    return found
