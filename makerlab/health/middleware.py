"""The first two middlewares: every request gets its number, and probes are answered before anything can go wrong."""

from __future__ import annotations

import logging
import secrets
import time
from collections.abc import Callable

from django.conf import settings
from django.core.signals import got_request_exception
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, HttpResponseNotFound, JsonResponse

from makerlab.health import ready
from makerlab.health.logs import page_of
from makerlab.health.marks import HEADER, mark_for, new_incident, request_id

log = logging.getLogger("makerlab.request")
Answer = Callable[[HttpRequest], HttpResponse]
QUIET = frozenset({"/livez", "/readyz", "/metrics"})


def marked(get_response: Answer) -> Answer:
    """Number each request, tell it in the answer and in every log line, and write one line for each answer."""

    def middleware(request: HttpRequest) -> HttpResponse:
        from makerlab.health.metrics import observe

        number = mark_for(request.headers.get(HEADER, ""))
        token = request_id.set(number)
        began = time.perf_counter()
        try:
            response = get_response(request)
            response.headers[HEADER] = number
            took = time.perf_counter() - began
            if request.path not in QUIET:
                page = page_of(request)
                observe(page, request.method or "", response.status_code, took)
                facts = {
                    "page": page,
                    "method": request.method,
                    "status": response.status_code,
                    "ms": round(took * 1e3),
                }
                log.info("%s %s %s in %d ms", request.method, page, response.status_code, took * 1e3, extra=facts)
            return response
        finally:
            request_id.reset(token)

    return middleware


def note_incident(sender: object, request: HttpRequest | None = None, **kwargs: object) -> None:
    """Of an error nobody caught: a number for the page and the same in the log."""
    if request is None:
        return
    request.incident = new_incident()  # type: ignore[attr-defined]
    facts = {"incident": request.incident, "page": page_of(request), "method": request.method}  # type: ignore[attr-defined]
    log.exception("page %s broke", page_of(request), extra=facts)


got_request_exception.connect(note_incident, dispatch_uid="makerlab.health.note_incident")


def probes(get_response: Answer) -> Answer:
    """``/livez``, ``/readyz`` and ``/metrics``. They need no session, no sign-in and no known host name: what asks is
    a machine beside us, by address, and perhaps while the database is away."""
    pages: dict[str, Answer] = {"/livez": live, "/readyz": readiness, "/metrics": metrics}

    def middleware(request: HttpRequest) -> HttpResponse:
        page = pages.get(request.path)
        if page is None:
            return get_response(request)
        response = page(request) if request.method in ("GET", "HEAD") else HttpResponseNotAllowed(("GET", "HEAD"))
        response.headers["Cache-Control"] = "no-store"
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response

    return middleware


def live(request: HttpRequest) -> HttpResponse:
    """This process answers. Nothing else is looked at: starting it again would mend nothing else."""
    return JsonResponse({"live": True})


def readiness(request: HttpRequest) -> HttpResponse:
    """200 when all is well, 503 when not, with one word for each check. ``?without=worker`` leaves one out: a balancer
    that takes the pages away because a worker is gone would make it worse."""
    left_out = request.GET.getlist("without")
    found = {name: said for name, said in ready.look().items() if name not in left_out}
    well = all(said == ready.WELL for said in found.values())
    return JsonResponse({"ready": well, **found}, status=200 if well else 503)


def metrics(request: HttpRequest) -> HttpResponse:
    """The figures, for whoever sends the token of MAKERLAB_METRICS_TOKEN; for everybody else there is no such page."""
    from makerlab.health.metrics import CONTENT_TYPE, exposition

    sent = request.headers.get("Authorization", "").encode()
    wanted = f"Bearer {settings.METRICS_TOKEN}".encode()
    if not settings.METRICS_TOKEN or not secrets.compare_digest(sent, wanted):
        return HttpResponseNotFound(b"", content_type="text/plain")
    return HttpResponse(exposition(), content_type=CONTENT_TYPE)
