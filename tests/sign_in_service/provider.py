"""A school's sign-in service for the tests: an OpenID Connect provider by django-oauth-toolkit (PyPI), in a process,
with a database and keys of its own. ``python -m tests.sign_in_service.provider FOLDER PORT`` reads ``plan.json`` there.

The file ``twist`` in the folder, where a test writes one, makes the provider misbehave in one way, which no good one
does: ``issuer`` calls itself by another name, ``keys`` publishes a key that did not sign, ``subject`` tells of somebody
else when it is asked again, ``late`` and ``audience`` sign a token that is over or is for another site, ``nothing``
answers the search for it with an error.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import django
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from django.conf import settings

FORM = """<!doctype html><title>Service</title><form method="post">{% csrf_token %}{{ form.as_p }}
<button type="submit">Enter</button></form>"""


def new_key() -> str:
    made = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    return made.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()).decode()


def configure(folder: Path) -> None:
    settings.configure(
        SECRET_KEY="of-the-tests-service", ALLOWED_HOSTS=["localhost"], USE_TZ=True,
        ROOT_URLCONF="tests.sign_in_service.provider",
        DATABASES={"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": folder / "service.sqlite3",
                               "OPTIONS": {"timeout": 20}}},
        DEFAULT_AUTO_FIELD="django.db.models.BigAutoField",
        INSTALLED_APPS=["django.contrib.auth", "django.contrib.contenttypes", "django.contrib.sessions",
                        "oauth2_provider"],
        MIDDLEWARE=["django.contrib.sessions.middleware.SessionMiddleware",
                    "django.middleware.csrf.CsrfViewMiddleware",
                    "django.contrib.auth.middleware.AuthenticationMiddleware"],
        TEMPLATES=[{"BACKEND": "django.template.backends.django.DjangoTemplates", "OPTIONS": {
            "loaders": [("django.template.loaders.locmem.Loader", {"registration/login.html": FORM})]}}],
        PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"],
        LOGIN_URL="/login/", SESSION_COOKIE_NAME="service_session", CSRF_COOKIE_NAME="service_csrf",
        OAUTH2_PROVIDER={
            "OIDC_ENABLED": True, "OIDC_RSA_PRIVATE_KEY": new_key(), "PKCE_REQUIRED": True,
            "SCOPES": {"openid": "who it is", "email": "the address"},
            "OAUTH2_VALIDATOR_CLASS": "tests.sign_in_service.provider.Validator",
        },
    )  # fmt: skip


FOLDER, PORT = Path(sys.argv[1]), int(sys.argv[2])
if not settings.configured:
    configure(FOLDER)
    django.setup()
PLAN: dict[str, Any] = json.loads((FOLDER / "plan.json").read_text())

from django.contrib.auth.models import User  # noqa: E402 - after the settings
from django.contrib.auth.views import LoginView  # noqa: E402
from django.http import HttpRequest, HttpResponse, JsonResponse  # noqa: E402
from django.urls import include, path  # noqa: E402
from oauth2_provider.oauth2_validators import OAuth2Validator  # noqa: E402
from oauth2_provider.utils import jwk_from_pem  # noqa: E402
from oauth2_provider.views import ConnectDiscoveryInfoView  # noqa: E402


def twist() -> str:
    file = FOLDER / "twist"
    return file.read_text() if file.exists() else ""


class Validator(OAuth2Validator):
    """Tells what the plan says of a person."""

    oidc_claim_scope = None

    def get_additional_claims(self, request: Any) -> dict[str, Any]:
        return dict(PLAN["people"][request.user.username])

    def get_id_token_dictionary(self, token: Any, token_handler: Any, request: Any) -> tuple[dict[str, Any], Any]:
        claims, until = super().get_id_token_dictionary(token, token_handler, request)
        wrong = {"late": {"exp": claims["exp"] - 2 * 86_400}, "audience": {"aud": "another-site"}}
        return {**claims, **wrong.get(twist(), {})}, until

    def get_userinfo_claims(self, request: Any) -> dict[str, Any]:
        told: dict[str, Any] = super().get_userinfo_claims(request)
        return {**told, "sub": "somebody-else"} if twist() == "subject" else told


def discovery(request: HttpRequest) -> HttpResponse:
    if twist() == "nothing":
        return HttpResponse("broken", status=500)
    told = json.loads(ConnectDiscoveryInfoView.as_view()(request).content)
    return JsonResponse({**told, "issuer": "https://another.example"} if twist() == "issuer" else told)


def keys(request: HttpRequest) -> HttpResponse:
    ours = settings.OAUTH2_PROVIDER["OIDC_RSA_PRIVATE_KEY"]
    shown = jwk_from_pem(new_key() if twist() == "keys" else ours)
    named = {"alg": "RS256", "use": "sig", "kid": jwk_from_pem(ours).thumbprint()}
    return JsonResponse({"keys": [{**json.loads(shown.export_public()), **named}]})


urlpatterns = [
    path("login/", LoginView.as_view()),
    path("o/.well-known/openid-configuration", discovery),
    path("o/.well-known/jwks.json", keys),
    path("o/", include("oauth2_provider.urls")),
]


def main() -> None:
    import waitress
    from django.core.management import call_command
    from django.core.wsgi import get_wsgi_application
    from oauth2_provider.models import Application

    call_command("migrate", verbosity=0)
    for name in PLAN["people"]:
        User.objects.create_user(name, password=PLAN["password"])
    Application.objects.create(
        name="the site", client_id=PLAN["client"], client_secret=PLAN["secret"], redirect_uris=PLAN["return"],
        client_type="confidential", authorization_grant_type="authorization-code", algorithm="RS256",
        skip_authorization=True,
    )  # fmt: skip
    waitress.serve(get_wsgi_application(), listen=f"127.0.0.1:{PORT}", threads=4)


if __name__ == "__main__":
    sys.modules["tests.sign_in_service.provider"] = sys.modules[__name__]
    main()
