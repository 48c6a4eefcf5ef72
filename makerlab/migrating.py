"""What migrations of large tables need."""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations


class AddIndexWhileWritten(AddIndexConcurrently):
    """Builds an index while others write to the table: on PostgreSQL, in a migration with ``atomic = False``. On
    SQLite, where one process at a time writes anyway, as usual."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
        else:
            migrations.AddIndex.database_forwards(self, app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_backwards(app_label, schema_editor, from_state, to_state)
        else:
            migrations.AddIndex.database_backwards(self, app_label, schema_editor, from_state, to_state)
