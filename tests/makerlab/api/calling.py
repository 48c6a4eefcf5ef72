"""Calls to the interface with a person's token, in this process."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.http import HttpResponse
from django.test import Client
from django.utils import timezone

from makerlab.accounts.models import User
from makerlab.api.models import ApiToken, digest_of
from makerlab.api.scopes import Scope

ALL = tuple(scope.value for scope in Scope)
PREFIX = "/api/v1"


def give_token(owner: User, scopes: tuple[str, ...] = ALL, **values: Any) -> str:
    """A token's secret. Written past the action, so that scopes an owner could not choose can be tried, too."""
    secret = f"mkl_{owner.pk:043d}" if "secret" not in values else values.pop("secret")
    values.setdefault("expires_at", timezone.now() + timedelta(days=1))
    made = ApiToken(owner=owner, name="a script", scopes=list(scopes), digest=digest_of(secret), ending=secret[-4:])
    for name, value in values.items():
        setattr(made, name, value)
    made.save()
    return secret


@dataclass
class Caller:
    """Somebody's program."""

    owner: User
    scopes: tuple[str, ...] = ALL
    client: Client = field(default_factory=Client)
    secret: str = ""

    def __post_init__(self) -> None:
        self.secret = self.secret or give_token(self.owner, self.scopes)

    @property
    def headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.secret}"}

    def get(self, path: str, headers: dict[str, str] | None = None, **query: Any) -> HttpResponse:
        return self.client.get(f"{PREFIX}{path}", query, headers={**self.headers, **(headers or {})})

    def post(self, path: str, headers: dict[str, str] | None = None, **body: Any) -> HttpResponse:
        whole = {**self.headers, **(headers or {})}
        return self.client.post(f"{PREFIX}{path}", json.dumps(body), "application/json", headers=whole)

    def send(self, path: str, headers: dict[str, str] | None = None, **form: Any) -> HttpResponse:
        """A form with files."""
        return self.client.post(f"{PREFIX}{path}", form, headers={**self.headers, **(headers or {})})


def refused(response: HttpResponse, status: int, code: str) -> str:
    """What a problem says; fails unless it is that problem in the form of RFC 9457."""
    assert response.status_code == status, response.content
    assert response["Content-Type"] == "application/problem+json"
    told = response.json()
    assert (told["type"], told["status"], told["code"]) == ("about:blank", status, code)
    assert told["title"]
    return str(told["detail"])
