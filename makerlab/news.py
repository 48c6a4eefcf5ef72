"""Open pages that ask whether anything is new.

At the bell some hundreds of pages stand open and ask every few seconds, and nearly always nothing has changed. Such a
question is answered here, before the session, the person and the page are made: a page carries in a header (NEWS) what
it watches, sealed for this session when it was drawn, and says in ``since`` what it saw. The topic answers in few
questions, mostly 204, while the session is as good as it was. In every other case (signed out, another password, an
altered header, something the topic leaves to the page) the request goes on to its page, which asks everything anew.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from functools import lru_cache
from typing import Protocol

from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import models
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import get_language, get_language_from_request, override

from makerlab.accounts.middleware import session_ends_at
from makerlab.accounts.models import User
from makerlab.prepared import Prepared

NEWS = "Makerlab-News"
_META = "HTTP_" + NEWS.upper().replace("-", "_")
LONGEST = 200  # letters of the header
DIGITS_MAX = 18
KEY = re.compile(r"[a-z0-9]{32}")  # of a session


class Topic(Protocol):
    """The answer to a person who saw ``since`` of these rows, in the language that is active: 204 when it is still so;
    None where the page must answer, and where the person may not see the rows any more. It knows no request."""

    def __call__(self, user_id: int, since: str, *of: int) -> HttpResponse | None: ...


topics: dict[str, tuple[str, Topic]] = {}  # by name: the URL name of its page, and who answers; apps add theirs


def watch(request: HttpRequest, topic: str, *of: int) -> str:
    """The header's value for a page that is drawn now: topic, person, rows, seal. Empty where nobody is signed in."""
    user, key = request.user, request.session.session_key
    if not (user.is_authenticated and key):
        return ""
    ends_at = session_ends_at(request, user)
    if ends_at is None:
        return ""
    said = " ".join((topic, str(user.pk), ".".join(map(str, of)), str(int(ends_at))))
    return f"{said} {_seal(said, key, user)}"


def _seal(said: str, session_key: str, user: User) -> str:
    """Bound to the session and, as the session itself is, to the person's password."""
    held = f"{session_key}\n{user.get_session_auth_hash()}\n{said}"
    return salted_hmac("makerlab.news", held, algorithm="sha256").hexdigest()


@Prepared
def _session(key: str) -> models.QuerySet[Session, datetime]:
    return Session.objects.filter(session_key=key).values_list("expire_date", flat=True)


@Prepared
def _person(pk: int) -> models.QuerySet[User]:
    return User.objects.filter(pk=pk, is_active=True).only("password", "session_epoch")


_page = lru_cache(maxsize=512)(resolve)  # the address of a page is the same in thousands of questions


def quick(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware, in front of the session's."""

    def middleware(request: HttpRequest) -> HttpResponse:
        asks = request.method == "GET" and _META in request.META and "since" in request.GET
        return (answer(request) if asks else None) or get_response(request)

    return middleware


def answer(request: HttpRequest) -> HttpResponse | None:
    """What the topic of this page answers; None where the page itself must."""
    request.get_host()  # raises for a host that is not ours, as every page does
    said, _space, seal = request.META[_META][:LONGEST].rpartition(" ")
    words = said.split(" ")
    key = request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
    if len(words) != 4 or words[0] not in topics or not KEY.fullmatch(key):
        return None
    topic, user, of, ends_at = words
    numbers = [user, ends_at, *of.split(".")]
    if not all(number.isascii() and number.isdecimal() and len(number) <= DIGITS_MAX for number in numbers):
        return None
    user_id, until, *rows = map(int, numbers)
    url_name, answers = topics[topic]
    try:
        request.resolver_match = _page(request.path_info)
    except Resolver404:
        return None
    named = request.resolver_match.view_name == url_name
    if not (named and timezone.now().timestamp() < until and _holds(said, seal, key, user_id)):
        return None
    with override(get_language_from_request(request)):
        response = answers(user_id, request.GET["since"], *rows)
        if response is not None:
            response.headers["Cache-Control"] = "private, no-store"
            response.headers["Content-Language"] = get_language() or ""
    return response


def _holds(said: str, seal: str, session_key: str, user_id: int) -> bool:
    """Whether we gave this to this session, which is still open, and its person may still sign in with it."""
    expires, person = _session.first(session_key), _person.first(user_id)
    if expires is None or person is None or expires <= timezone.now():
        return False
    return constant_time_compare(seal, _seal(said, session_key, person))
