"""Log lines without anything about pupils: plain for people, JSON for machines (``MAKERLAB_LOG_FORMAT=json``).

An address is told by the name of its page, never by its path, which may hold a key or a name. Of an error its class,
the places in the code and what the system or the database server said are told; never the whole message, which may
repeat what somebody typed.
"""

from __future__ import annotations

import json
import logging
import traceback
from datetime import UTC, datetime
from types import TracebackType
from typing import Any

from django.db import IntegrityError, OperationalError

from makerlab.health.marks import request_id

ErrorInfo = tuple[type[BaseException] | None, BaseException | None, TracebackType | None]
EXTRA = ("incident", "page", "method", "status", "ms", "job", "kind", "lane", "attempt")


def page_of(request: Any) -> str:
    """The name of the page asked for, or ``unknown``."""
    match = getattr(request, "resolver_match", None)
    return str(match.view_name) if match is not None else "unknown"


def told(error: BaseException) -> str:
    """What may be said of an error: the class, and for the system's and the database server's troubles their words.
    Only the first line of those: PostgreSQL puts the values of the row into the second."""
    name = type(error).__name__
    if isinstance(error, OSError) and error.strerror:
        return f"{name}: {error.strerror}"
    if isinstance(error, (OperationalError, IntegrityError)):
        return f"{name}: {str(error).strip().partition(chr(10))[0]}"
    return name


def trace(error: BaseException) -> list[str]:
    """Where it happened, outermost first: ``file:line function``, and the errors it came from."""
    lines: list[str] = []
    seen: BaseException | None = error
    while seen is not None:
        frames = traceback.extract_tb(seen.__traceback__)
        lines = [told(seen), *(f"  {frame.filename}:{frame.lineno} {frame.name}" for frame in frames), *lines]
        seen = seen.__cause__ or (None if seen.__suppress_context__ else seen.__context__)
    return lines


class Marked(logging.Filter):
    """Puts the request's number on each record, and the page's name in the place of the path in Django's own lines."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = request_id.get()
        if record.name.startswith("django.request") or record.name.startswith("django.security"):
            request = getattr(record, "request", None)
            status = getattr(record, "status_code", None)
            record.msg, record.args = "page %s was answered by %s", (page_of(request), status or "a refusal")
        return True


class Line(logging.Formatter):
    """One line for a person; an error's places follow."""

    def format(self, record: logging.LogRecord) -> str:
        line = f"{moment(record)} {record.levelname} {record.name} {record.getMessage()}"
        more = [("request", getattr(record, "request_id", "")), ("incident", getattr(record, "incident", ""))]
        line += "".join(f" {name}={value}" for name, value in more if value)
        if record.exc_info and record.exc_info[1] is not None:
            line = "\n".join([line, *trace(record.exc_info[1])])
        return line


class JsonLine(logging.Formatter):
    """One object to a line: time, level, logger, message, request_id and what the record brings along."""

    def format(self, record: logging.LogRecord) -> str:
        found: dict[str, Any] = {
            "time": moment(record),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        if number := getattr(record, "request_id", ""):
            found["request_id"] = number
        found |= {name: getattr(record, name) for name in EXTRA if hasattr(record, name)}
        if record.exc_info and record.exc_info[1] is not None:
            found["error"] = told(record.exc_info[1])
            found["trace"] = trace(record.exc_info[1])
        return json.dumps(found, ensure_ascii=False)


def moment(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")


def configuration(form: str) -> dict[str, Any]:
    """Django's LOGGING for ``text`` or ``json``."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"marked": {"()": "makerlab.health.logs.Marked"}},
        "formatters": {"text": {"()": "makerlab.health.logs.Line"}, "json": {"()": "makerlab.health.logs.JsonLine"}},
        "handlers": {
            "console": {"class": "logging.StreamHandler", "formatter": form, "filters": ["marked"]},
        },
        "root": {"handlers": ["console"], "level": "WARNING"},
        "loggers": {
            "makerlab": {"level": "INFO"},
            # ours has every answer; Django's own handlers would print paths
            "django": {"handlers": [], "level": "WARNING"},
            "django.request": {"level": "CRITICAL"},
            # one line for each answer and each job: for machines that gather them, too many for a terminal
            "makerlab.request": {"level": "INFO" if form == "json" else "ERROR"},
            "makerlab.jobs": {"level": "INFO" if form == "json" else "ERROR"},
            "django.server": {"handlers": [], "level": "ERROR", "propagate": True},
            # a line for every request that waits for a thread, hundreds at a bell; the figures tell how long all took
            "waitress.queue": {"level": "ERROR"},
            # they name who tried to sign in; the audit trail has it
            "axes": {"handlers": [], "level": "ERROR"},
        },
    }
