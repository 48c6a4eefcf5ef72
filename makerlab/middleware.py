"""Small middlewares of the site."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.utils import timezone

METHODS = ("GET", "HEAD", "POST")


def known_methods(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Refuse every method no page answers to (405), before anybody is asked who they are."""

    def middleware(request: HttpRequest) -> HttpResponse:
        return get_response(request) if request.method in METHODS else HttpResponseNotAllowed(METHODS)

    return middleware


def school_time(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Show times in the time zone of the signed-in person's school."""

    def middleware(request: HttpRequest) -> HttpResponse:
        user = request.user
        if user.is_authenticated and user.school_id:
            with timezone.override(ZoneInfo(user.school.time_zone)):
                return get_response(request)
        return get_response(request)

    return middleware


def private_pages(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Keep pages of signed-in people out of the browser's store: school machines are shared, and the Back button
    must not show them after signing out."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        if request.user.is_authenticated:
            response.headers.setdefault("Cache-Control", "private, no-store")
        return response

    return middleware
