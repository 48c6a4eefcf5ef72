"""The door in front of every address of the interface: whose token, how often, in the school's time; what is the same
as before is not sent again, what was done already is not done again."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from operator import itemgetter
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from ninja.errors import AuthorizationError
from ninja.security import HttpBearer

from makerlab.accounts import limits
from makerlab.accounts.models import User
from makerlab.accounts.second_step import must_enrol
from makerlab.api.models import ApiToken
from makerlab.api.once import once
from makerlab.api.problems import problem
from makerlab.api.scopes import Scope

View = Callable[..., HttpResponse]
SPAN_S = 60


class ApiRequest(HttpRequest):
    """A request behind the door: ``auth`` is its token, ``user`` the token's owner."""

    auth: ApiToken
    user: User


class Token(HttpBearer):
    """Says in the description that a token is wanted, and lets nobody in whose token lacks the scope."""

    def __init__(self, scope: Scope | None = None) -> None:
        self.scope = scope
        super().__init__()

    def __call__(self, request: HttpRequest) -> ApiToken:
        token: ApiToken = request.auth  # type: ignore[attr-defined]  # the door has set it
        if self.scope is not None and self.scope not in token.scopes:
            raise AuthorizationError(message=_("This token does not have the scope %(scope)s.") % {"scope": self.scope})
        return token

    def authenticate(self, request: HttpRequest, token: str) -> ApiToken | None:
        return self(request)


def behind(view: View, asks: Callable[[], frozenset[str]] = frozenset) -> View:
    """The view behind the door. ``asks`` names what may stand behind the question mark of a GET."""

    @csrf_exempt  # no cookie opens anything here
    @login_not_required
    def answer(request: HttpRequest, **values: object) -> HttpResponse:
        now = timezone.now()
        scheme, _space, secret = request.headers.get("Authorization", "").partition(" ")
        token = ApiToken.objects.for_token(secret.strip(), now) if scheme.lower() == "bearer" else None
        if token is None:
            detail = _("Send a valid token: Authorization: Bearer mkl_...")
            return problem(401, detail, headers={"WWW-Authenticate": "Bearer"})
        if limits.note("api", token.pk, SPAN_S) > settings.API_REQUESTS_A_MINUTE:
            return problem(429, headers={"Retry-After": str(SPAN_S)})
        if token.owner.password_given_at is not None or must_enrol(token.owner):
            return problem(403, _("The token's owner has to sign in first."), code="owner_must_sign_in")
        ApiToken.objects.note_used(token, now)
        request.auth, request.user = token, token.owner  # type: ignore[attr-defined]
        if unknown := set(request.GET) - asks():
            wrong = [{"where": f"query/{name}", "detail": _("Nothing is known by this name.")} for name in unknown]
            return problem(422, code="invalid", errors=sorted(wrong, key=itemgetter("where")))
        with timezone.override(ZoneInfo(token.owner.school.time_zone)):
            return _private(_answered(request, token, lambda: view(request, **values)))

    return answer


def _answered(request: HttpRequest, token: ApiToken, act: Callable[[], HttpResponse]) -> HttpResponse:
    if request.method == "HEAD":
        request.method = "GET"  # the server leaves the body away
    response = once(request, token, act) if request.method == "POST" else act()
    if response.status_code == 405:
        return problem(405, headers={"Allow": response["Allow"]})
    if request.method == "GET" and response.status_code == 200:
        etag = quote_etag(hashlib.sha256(response.content).hexdigest()[:32])
        response["ETag"] = etag
        return get_conditional_response(request, etag=etag, response=response) or response
    return response


def _private(response: HttpResponse) -> HttpResponse:
    response["Cache-Control"] = "private, no-cache"
    return response
