"""Sessions in the database, written once where Django writes them three times: whoever signs in waits for the disk."""

from __future__ import annotations

from typing import Any

from django.contrib.sessions.backends.base import VALID_KEY_CHARS
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.utils.crypto import get_random_string

KEY_LENGTH = 32  # of 36 signs: 165 bits


class SessionStore(DatabaseStore):
    """Django's own, with its table. A new key is written with the first save, which never writes over another's row
    and raises CreateError instead; what was saved and is as it was is not saved again."""

    def __init__(self, session_key: str | None = None) -> None:
        super().__init__(session_key)
        self._is_new = False
        self._saved: tuple[str | None, bytes] | None = None

    def _get_new_session_key(self) -> str:
        return get_random_string(KEY_LENGTH, VALID_KEY_CHARS)

    def create(self) -> None:
        self._session_key = self._get_new_session_key()
        self._session_cache: dict[str, Any] = {}
        self._is_new = self.modified = True

    def save(self, must_create: bool = False) -> None:
        if self.session_key is None:
            held = self._get_session(no_load=True)  # type: ignore[attr-defined]  # the stubs leave it out
            self.create()
            self._session_cache = held
        new = must_create or self._is_new
        held = self._get_session(no_load=new)  # type: ignore[attr-defined]
        now = (self.session_key, self.serializer().dumps(held))
        if self._saved == now and not must_create:
            return
        super().save(must_create=new)
        self._is_new, self._saved = False, now
