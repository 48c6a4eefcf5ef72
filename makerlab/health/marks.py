"""The marks of one request: the number its log lines carry, and the number a broken page shows."""

from __future__ import annotations

import re
import secrets
from contextvars import ContextVar

HEADER = "X-Request-ID"
# what a proxy in front may hand us: nothing that could break a log line, or be a sentence
GIVEN = re.compile(r"[A-Za-z0-9-]{8,64}\Z")
request_id: ContextVar[str] = ContextVar("request_id", default="")


def mark_for(given: str) -> str:
    """The number the proxy gave the request, or a new one of 64 random bits."""
    return given if GIVEN.match(given) else secrets.token_hex(8)


def new_incident() -> str:
    """Eight signs that can be read out over a telephone."""
    return secrets.token_hex(4)
