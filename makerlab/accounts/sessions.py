"""Sessions in the database, written once where Django writes them three times: whoever signs in waits for the disk."""

from __future__ import annotations

from typing import Any

from django.contrib.sessions.backends.base import VALID_KEY_CHARS
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.contrib.sessions.models import Session
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.crypto import get_random_string

from makerlab.prepared import Prepared

KEY_LENGTH = 32  # of 36 signs: 165 bits


@Prepared
def _kept(session_key: str) -> QuerySet[Session]:
    return Session.objects.filter(session_key=session_key)


class SessionStore(DatabaseStore):
    """Django's own, with its table. A new key is written with the first save, which never writes over another's row
    and raises CreateError instead; what was saved and is as it was is not saved again."""

    def __init__(self, session_key: str | None = None) -> None:
        super().__init__(session_key)
        self._is_new = False
        self._saved: tuple[str | None, bytes] | None = None

    def _get_new_session_key(self) -> str:
        return get_random_string(KEY_LENGTH, VALID_KEY_CHARS)

    def _get_session_from_db(self) -> Session | None:
        row = _kept.first(self.session_key) if self.session_key else None
        if row is None or row.expire_date <= timezone.now():
            self._session_key = None
            return None
        return row

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
