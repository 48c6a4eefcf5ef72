"""Errors as RFC 9457 problem details. ``code`` is for programs and stays; ``detail`` is for people."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, JsonResponse
from ninja import NinjaAPI, Schema
from ninja.errors import HttpError, ValidationError

from lessons.lab.actions import ReadingRefused
from makerlab.uploads import UploadRefused
from printing.states import NotAllowedNow as NotNowInRoom
from submissions.actions import NoteNeeded
from submissions.states import NotAllowedNow

log = logging.getLogger("makerlab.api")
MEDIA_TYPE = "application/problem+json"
CODES = {
    400: "malformed", 401: "no_token", 403: "not_allowed", 404: "not_found", 405: "wrong_method", 409: "not_now",
    413: "too_large", 422: "refused", 429: "too_many", 500: "broke",
}  # fmt: skip


class Refused(Exception):
    """What was sent does not fit together; the message says how it would."""

    def __init__(self, told: str, code: str = "refused") -> None:
        self.code = code
        super().__init__(told)


class Wrong(Schema):
    """One value that cannot be taken: where it stands and why."""

    where: str
    detail: str


class Problem(Schema):
    """RFC 9457. ``type`` is about:blank: ``status`` and ``code`` say which problem it is."""

    type: str
    title: str
    status: int
    code: str
    detail: str
    errors: list[Wrong] | None = None


def problem(
    status: int,
    detail: str = "",
    *,
    code: str = "",
    errors: list[dict[str, str]] | None = None,
    headers: Mapping[str, str] | None = None,
) -> JsonResponse:
    """The answer that says what is wrong."""
    title = HTTPStatus(status).phrase
    told: dict[str, Any] = {
        "type": "about:blank", "title": title, "status": status, "code": code or CODES[status],
        "detail": detail or title,
    }  # fmt: skip
    if errors:
        told["errors"] = errors
    return JsonResponse(told, status=status, content_type=MEDIA_TYPE, headers=dict(headers or {}))


def _http_error(request: HttpRequest, error: HttpError | type[HttpError]) -> JsonResponse:
    assert isinstance(error, HttpError)
    return problem(error.status_code, error.message)


def _invalid(request: HttpRequest, error: ValidationError | type[ValidationError]) -> JsonResponse:
    assert isinstance(error, ValidationError)
    wrong = [
        {"where": "/".join(str(step) for step in each["loc"]), "detail": str(each["msg"])} for each in error.errors
    ]
    return problem(422, "Some values cannot be taken.", code="invalid", errors=wrong)


def _refused(request: HttpRequest, error: Refused | type[Refused]) -> JsonResponse:
    assert isinstance(error, Refused)
    return problem(422, str(error), code=error.code)


def _broke(request: HttpRequest, error: Exception | type[Exception]) -> JsonResponse:
    log.exception("the interface broke")
    return problem(500, "Something broke here. What you asked for was not done.")


def teach(api: NinjaAPI) -> None:
    """Have the interface answer refusals of actions and doors as problems."""
    told: dict[type[Exception], tuple[int, str]] = {
        NoteNeeded: (422, "note_needed"),
        NotAllowedNow: (409, "not_now"),
        NotNowInRoom: (409, "not_now"),
        UploadRefused: (422, "refused"),
        ReadingRefused: (422, "refused"),
    }
    for kind, (status, code) in told.items():

        def refuse(request: HttpRequest, error: Any, status: int = status, code: str = code) -> JsonResponse:
            return problem(status, str(error), code=code)

        api.add_exception_handler(kind, refuse)
    api.add_exception_handler(Refused, _refused)
    api.add_exception_handler(PermissionDenied, lambda request, error: problem(403, str(error)))
    api.add_exception_handler(Http404, lambda request, error: problem(404))
    api.add_exception_handler(HttpError, _http_error)
    api.add_exception_handler(ValidationError, _invalid)
    api.add_exception_handler(Exception, _broke)
