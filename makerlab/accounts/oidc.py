"""The protocol with the school's sign-in service, by django-allauth (extra ``sso``): discovery, state, PKCE, the
token and its signature. Nothing of allauth's is stored, and whom it lets in is decided in ``single_sign_on.py``.

Imported only where MAKERLAB_OIDC_ISSUER is set.
"""

from __future__ import annotations

import logging
from typing import Any, NoReturn

from allauth.socialaccount.adapter import DefaultSocialAccountAdapter, get_adapter
from allauth.socialaccount.providers.base.constants import AuthError, AuthProcess
from allauth.socialaccount.providers.oauth2.client import OAuth2Error
from allauth.socialaccount.providers.oauth2.views import OAuth2CallbackView
from allauth.socialaccount.providers.openid_connect.views import OpenIDConnectOAuth2Adapter
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from requests import RequestException

from makerlab.accounts.single_sign_on import Claims

PROVIDER = "school"
log = logging.getLogger("makerlab.accounts")


class NotDone(Exception):
    """No sign-in came of it: ``stopped`` there, ``stale`` or of another window, the service ``away``, or an ``answer``
    that cannot be used."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(why)


# away; not as the protocol has it; something left out, or of another kind
UNUSABLE = (RequestException, OAuth2Error, KeyError, TypeError, ValueError)


def not_done(error: Exception) -> NotDone:
    """What it means that the service could not be asked, or its answer not be read. The log gets its kind only."""
    why = "away" if isinstance(error, RequestException) else "answer"
    log.warning("sign-in service: %s (%s)", why, type(error).__name__)
    return NotDone(why)


class _Answered(Exception):
    """The service's word, on its way out of the library before it makes or looks for accounts of its own."""

    def __init__(self, claims: Claims) -> None:
        self.claims = claims
        super().__init__()


class Errors(DefaultSocialAccountAdapter):  # type: ignore[misc]  # no types there
    """Tells our views what went wrong instead of drawing the library's own page."""

    def on_authentication_error(
        self,
        request: HttpRequest,
        provider: Any,
        error: Any = None,
        exception: Exception | None = None,
        extra_context: dict[str, Any] | None = None,
    ) -> NoReturn:
        if exception is not None:
            raise not_done(exception) from exception
        if error == AuthError.CANCELLED:
            raise NotDone("stopped")
        raise NotDone("stale" if "state_id" in (extra_context or {}) else "answer")


class Service(OpenIDConnectOAuth2Adapter):  # type: ignore[misc]  # no types there
    """The service of the environment, stricter than the library: the issuer is the one that was set, and the token's
    signature is checked although it came straight from the service."""

    def __init__(self, request: HttpRequest) -> None:
        super().__init__(request, PROVIDER)

    def get_provider(self) -> Any:
        provider = get_adapter(self.request).get_provider(self.request, provider=PROVIDER)
        provider.get_oauth2_adapter = lambda request: self
        return provider

    @property
    def openid_config(self) -> dict[str, Any]:
        found: dict[str, Any] = super().openid_config
        if str(found.get("issuer")).rstrip("/") != settings.ENVIRONMENT.oidc_issuer:
            raise OAuth2Error("the issuer is not the one that was set (OpenID Connect Discovery 1.0, 4.3)")
        return found

    def get_callback_url(self, request: HttpRequest, app: Any) -> str:
        return request.build_absolute_uri(reverse("accounts:single-sign-on-return"))

    def get_access_token_data(self, *arguments: Any, **named: Any) -> Any:
        found = super().get_access_token_data(*arguments, **named)
        self.did_fetch_access_token = False  # what the library skips the signature by
        return found

    def complete_login(self, request: HttpRequest, app: Any, token: Any, **named: Any) -> NoReturn:
        if not named["response"].get("id_token"):
            raise OAuth2Error("no identity token came")
        told = super().complete_login(request, app, token, **named).account.extra_data
        signed, more = told["id_token"], told["userinfo"]
        if more["sub"] != signed["sub"]:  # OpenID Connect Core 1.0, 5.3.2
            raise OAuth2Error("the two answers are about different people")
        raise _Answered(claims_of({**more, **signed}))


def claims_of(told: dict[str, Any]) -> Claims:
    """Of everything the service tells, what is looked at. Some say ``"true"`` in letters."""
    verified = told.get("email_verified") in (True, "true")
    email = told.get("email") if verified else ""
    return Claims(settings.ENVIRONMENT.oidc_issuer, told["sub"], email if isinstance(email, str) else "")


def ask(request: HttpRequest) -> HttpResponse:
    """Send the browser to the service, with a state kept in the session. Raises NotDone."""
    provider = Service(request).get_provider()
    try:
        answer: HttpResponse = provider.redirect(request, AuthProcess.LOGIN)
    except UNUSABLE as error:
        raise not_done(error) from error
    return answer


def answer_of(request: HttpRequest) -> Claims:
    """What the service says, when the browser comes back from it. Raises NotDone."""
    try:
        OAuth2CallbackView.adapter_view(Service(request))(request)
    except _Answered as answered:
        return answered.claims
    except UNUSABLE as error:
        raise not_done(error) from error
    raise NotDone("answer")


def looks_right() -> str:
    """What is wrong with the service as it answers now, for the doctor; empty when it looks right."""
    service = Service(HttpRequest())
    try:
        found = service.openid_config
    except RequestException as error:
        return f"it does not answer ({type(error).__name__})"
    except OAuth2Error as error:
        return str(error)
    wanted = ("authorization_endpoint", "token_endpoint", "userinfo_endpoint", "jwks_uri")
    return "".join(f"it names no {name}; " for name in wanted if not found.get(name)).rstrip("; ")
