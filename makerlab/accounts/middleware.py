"""What staff do first: change a password that was on paper, turn on the second step the school wants."""

from __future__ import annotations

import time
from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from makerlab.accounts.models import User
from makerlab.accounts.second_step import must_enrol
from makerlab.accounts.single_sign_on import BY_SERVICE

SINCE = "signed in at"
STILL_OPEN = {"accounts:second-step", "accounts:own-password", "accounts:sign-out", "accounts:sign-out-everywhere"}


def note_sign_in(request: HttpRequest | None, **_signal: object) -> None:
    """Receiver of ``user_logged_in``: from when the session counts."""
    if request is not None:
        request.session[SINCE] = time.time()


def is_over(request: HttpRequest, user: User) -> bool:
    """Whether the session has lasted as long as it may, however much it was used: school machines are shared."""
    ends_at = session_ends_at(request, user)
    return ends_at is not None and time.time() > ends_at


def session_ends_at(request: HttpRequest, user: User) -> float | None:
    """When it has, in Unix seconds; None where nobody noted its begin."""
    since: float | None = request.session.get(SINCE)
    most = settings.STUDENT_SESSION_S if user.is_student else settings.SESSION_COOKIE_AGE
    return None if since is None else since + most


def first_things(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Lead whoever owes one of the two to it; no other page opens before."""

    def middleware(request: HttpRequest) -> HttpResponse:
        return get_response(request)

    def process_view(request: HttpRequest, *args: object) -> HttpResponse | None:
        user, match = request.user, request.resolver_match
        if not user.is_authenticated:
            return None
        if is_over(request, user):
            logout(request)
            return redirect("lessons:student-sign-in" if user.is_student else "accounts:sign-in")
        if match and match.view_name in STILL_OPEN:
            return None
        if user.password_given_at is not None and not request.session.get(BY_SERVICE):
            return redirect("accounts:own-password")
        return redirect("accounts:second-step") if must_enrol(user) else None

    middleware.process_view = process_view  # type: ignore[attr-defined]
    return middleware
