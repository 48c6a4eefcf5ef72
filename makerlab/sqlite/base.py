"""The database engine of the embedded profile. Django finds it by the name of the package and of this module."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import Any

from django.db.backends.sqlite3 import base


class DatabaseWrapper(base.DatabaseWrapper):
    """SQLite would make its file with mode 644, and the two files beside it (log and index) with the mode of the file:
    so the file is made here, empty, before SQLite opens it for the first time. One that is there keeps its mode."""

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        name = str(conn_params["database"])
        if name != ":memory:" and not name.startswith("file:"):
            with suppress(OSError):  # it is there, or cannot be made: then SQLite says what is wrong
                os.close(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        return super().get_new_connection(conn_params)
