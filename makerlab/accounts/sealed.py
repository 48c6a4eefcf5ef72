"""A column whose values are encrypted where they lie: a copy of the database alone opens nobody's second step.

Fernet of the library ``cryptography`` (AES-128-CBC and HMAC-SHA-256, github.com/fernet/spec), under a key derived by
HKDF (RFC 5869) from the installation's secret key, which is neither in the database nor in a backup. Older keys in
SECRET_KEY_FALLBACKS still open.
"""

from __future__ import annotations

import base64
from typing import Any

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.db import models

PURPOSE = b"makerlab.accounts.sealed"


def _locks() -> MultiFernet:
    keys = [str(settings.SECRET_KEY), *map(str, settings.SECRET_KEY_FALLBACKS)]
    derived = (HKDF(algorithm=SHA256(), length=32, salt=None, info=PURPOSE).derive(key.encode()) for key in keys)
    return MultiFernet([Fernet(base64.urlsafe_b64encode(key)) for key in derived])


def seal(text: str) -> str:
    """The text, encrypted; another one each time."""
    return _locks().encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """What was sealed. Raises InvalidToken when it was sealed under another key or changed since."""
    return _locks().decrypt(sealed.encode()).decode()


class SealedField(models.TextField):  # type: ignore[type-arg]  # Django's own class takes no arguments
    """Text that is encrypted in the database and plain in Python; empty where this installation's key does not open it.
    Nothing can be searched by it."""

    def from_db_value(self, value: str | None, expression: object, connection: object) -> str | None:
        if not value:
            return value
        try:
            return unseal(value)
        except InvalidToken:
            return ""

    def get_prep_value(self, value: Any) -> Any:
        prepared = super().get_prep_value(value)
        return seal(prepared) if prepared else prepared
