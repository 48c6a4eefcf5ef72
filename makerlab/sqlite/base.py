"""The database engine of the embedded profile. Django finds it by the name of the package and of this module."""

from __future__ import annotations

import os
import threading
from collections import defaultdict
from contextlib import suppress
from typing import Any

from django.db.backends.sqlite3 import base

# one for each database file: whoever of this process writes holds it
_TURNS: defaultdict[str, threading.Lock] = defaultdict(threading.Lock)


class DatabaseWrapper(base.DatabaseWrapper):
    """SQLite would make its file with mode 644, and the two files beside it (log and index) with the mode of the file:
    so the file is made here, empty, before SQLite opens it for the first time. One that is there keeps its mode.

    Threads of one process that write stand in line for the one lock of the file. SQLite alone lets each of them ask
    again and again, in the end every 100 ms (sqlite3_busy_timeout), and the unlucky wait for many seconds. A thread
    that stood in line for as long as the connection's ``timeout`` goes on, and SQLite tells it that the file is locked.
    """

    _turn: threading.Lock | None = None

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        name = str(conn_params["database"])
        if name != ":memory:" and not name.startswith("file:"):
            with suppress(OSError):  # it is there, or cannot be made: then SQLite says what is wrong
                os.close(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        return super().get_new_connection(conn_params)

    def _start_transaction_under_autocommit(self) -> None:
        self._take_turn()
        try:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
        except BaseException:
            self._leave_turn()
            raise

    def _commit(self) -> Any:
        done = super()._commit()  # type: ignore[misc]  # the stubs leave it out. One that failed is rolled back next, and only then it is over
        self._leave_turn()
        return done

    def _rollback(self) -> Any:
        try:
            return super()._rollback()  # type: ignore[misc]
        finally:
            self._leave_turn()

    def _close(self) -> Any:
        try:
            return super()._close()  # type: ignore[misc]
        finally:
            self._leave_turn()

    def _take_turn(self) -> None:
        if self._turn is None:
            turn = _TURNS[str(self.settings_dict["NAME"])]
            if turn.acquire(timeout=float(self.settings_dict["OPTIONS"].get("timeout", 5.0))):
                self._turn = turn

    def _leave_turn(self) -> None:
        turn, self._turn = self._turn, None
        if turn is not None:
            turn.release()
