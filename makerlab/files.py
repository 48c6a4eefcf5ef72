"""Stored files leave only as downloads: no browser may open, sniff or run what somebody uploaded."""

from __future__ import annotations

from typing import Any

from django.db.models.fields.files import FieldFile
from django.http import FileResponse, Http404

SANDBOX = {"default-src": ["'none'"], "sandbox": True, "frame-ancestors": ["'none'"]}


def attachment(file: FieldFile | Any, file_name: str) -> FileResponse:
    """The file as octet-stream attachment with nosniff and a sandboxed policy; 404 when it is not in the store.
    Views check who may have it before they call this."""
    if not file:
        raise Http404
    try:
        stream = file.open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    response = FileResponse(stream, as_attachment=True, filename=file_name, content_type="application/octet-stream")
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, no-store"
    response._csp_config = SANDBOX  # type: ignore[attr-defined]  # django-csp writes the header from it
    return response
