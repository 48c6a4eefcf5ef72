"""What migrations of large tables need."""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.operations import AddIndexConcurrently, RemoveIndexConcurrently
from django.db import migrations

FOUND = "SELECT indisvalid FROM pg_index WHERE indexrelid = to_regclass(quote_ident(%s))"


class AddIndexWhileWritten(AddIndexConcurrently):
    """Builds an index while others write to the table: on PostgreSQL, in a migration with ``atomic = False``. On
    SQLite, where one process at a time writes anyway, as usual.

    A migration that was cut off is simply done again: an index that is there stays, one whose building was cut off
    (PostgreSQL leaves it, never to be used) is taken out first."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if is_there(schema_editor, to_state.apps.get_model(app_label, self.model_name), self.index.name):
            return
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP INDEX CONCURRENTLY IF EXISTS {schema_editor.quote_name(self.index.name)}")
            super().database_forwards(app_label, schema_editor, from_state, to_state)
        else:
            migrations.AddIndex.database_forwards(self, app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_backwards(app_label, schema_editor, from_state, to_state)
        else:
            migrations.AddIndex.database_backwards(self, app_label, schema_editor, from_state, to_state)


class RemoveIndexWhileWritten(RemoveIndexConcurrently):
    """Takes an index out while others write, where it is there. Else as ``AddIndexWhileWritten``."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":  # which takes none out where none is
            super().database_forwards(app_label, schema_editor, from_state, to_state)
        elif is_there(schema_editor, from_state.apps.get_model(app_label, self.model_name), self.name):
            migrations.RemoveIndex.database_forwards(self, app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_backwards(app_label, schema_editor, from_state, to_state)
        else:
            migrations.RemoveIndex.database_backwards(self, app_label, schema_editor, from_state, to_state)


def is_there(schema_editor: Any, model: Any, name: str) -> bool:
    """Whether the table has an index of that name which queries may use."""
    database = schema_editor.connection
    with database.cursor() as cursor:
        if database.vendor == "postgresql":
            cursor.execute(FOUND, [name])
            found = cursor.fetchone()
            return bool(found and found[0])
        return name in database.introspection.get_constraints(cursor, model._meta.db_table)
