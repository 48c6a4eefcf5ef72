"""The interface put together: its addresses, its description, and the door in front of all of them."""

from __future__ import annotations

import json
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path
from django.views.decorators.http import require_safe
from ninja import NinjaAPI, Schema
from ninja.openapi.schema import OpenAPISchema
from ninja.operation import Operation
from ninja.responses import Status

from makerlab.api import problems
from makerlab.api.door import ApiRequest, behind
from makerlab.api.views import lab, parts, room, runs
from makerlab.api.views.common import needs

VERSION = "1.0"
PREFIX = "/api/v1/"
OPENAPI = Path(__file__).resolve().parents[2] / "docs" / "openapi.json"
ANSWERED = {
    "400": "the request cannot be read",
    "401": "no valid token",
    "403": "the token lacks the scope, or its owner may not do that",
    "404": "not there, or nothing the token's owner may know of",
    "405": "the address does not take this method",
    "409": "not as things stand now",
    "413": "too large",
    "422": "some values cannot be taken",
    "429": "too many requests; Retry-After says when to go on",
}
ABOUT = """A school's own scripts read and write here what their token's owner sees and may do on the pages.
docs/api.md says how to begin."""
KEY_HEADER = {
    "in": "header", "name": "Idempotency-Key", "required": False,
    "description": "1 to 80 visible ASCII characters: the same request sent again with it is done once",
    "schema": {"type": "string", "pattern": "^[!-~]{1,80}$"},
}  # fmt: skip


class PublicApi(NinjaAPI):
    """With every problem in the description."""

    def get_openapi_schema(
        self, *, path_prefix: str | None = None, path_params: dict[str, Any] | None = None
    ) -> OpenAPISchema:
        described = super().get_openapi_schema(path_prefix=path_prefix or PREFIX, path_params=path_params)
        components = described["components"]
        for model in (problems.Wrong, problems.Problem):
            told = model.model_json_schema(ref_template="#/components/schemas/{model}")
            told.pop("$defs", None)
            components["schemas"][model.__name__] = told
        content = {problems.MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
        for operations in described["paths"].values():
            for method, operation in operations.items():
                operation["responses"] = {str(status): told for status, told in operation["responses"].items()}
                for status, meaning in ANSWERED.items():
                    operation["responses"][status] = {"description": meaning, "content": content}
                for parameter in operation.get("parameters", []):
                    parameter["schema"] = _as_sent(parameter["schema"])
                if method == "post":
                    operation.setdefault("parameters", []).append(KEY_HEADER)
                else:
                    operation["responses"]["304"] = {"description": "as the ETag sent says"}
        return described

    def get_openapi_operation_id(self, operation: Operation) -> str:
        return operation.url_name


def _as_sent(schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter that is left out is not there: an address cannot say null."""
    given = [kind for kind in schema.get("anyOf", []) if kind.get("type") != "null"]
    return given[0] if len(given) == 1 else schema


class MeOut(Schema):
    """Whose token it is and what it may do."""

    token: str
    scopes: list[str]
    expires_at: datetime
    role: str
    school: str
    time_zone: str


def _me(request: ApiRequest) -> Status[Any]:
    """Whose token this is, what it may do, and until when."""
    token = request.auth
    school = token.owner.school
    told = {"token": token.name, "scopes": token.scopes, "expires_at": token.expires_at, "role": token.owner.role}
    return Status(200, {**told, "school": school.name, "time_zone": school.time_zone})


@cache
def _asked_at(route: str) -> frozenset[str]:
    """The names that may stand behind the question mark at an address."""
    told = public_api().get_openapi_schema()["paths"][PREFIX + route.replace("<", "{").replace(">", "}")]
    parameters = [each for operation in told.values() for each in operation.get("parameters", [])]
    return frozenset(each["name"] for each in parameters if each["in"] == "query")


def _nothing(request: HttpRequest, rest: str) -> HttpResponse:
    return problems.problem(404)


@login_not_required
@require_safe
def description(request: HttpRequest) -> HttpResponse:
    """What the interface takes and answers (OpenAPI 3.1), for whoever asks."""
    return HttpResponse(described(), content_type="application/json")


@cache
def described() -> str:
    """The description as it is served and as it stands in docs/openapi.json."""
    return json.dumps(public_api().get_openapi_schema(), indent=1, ensure_ascii=False, sort_keys=True) + "\n"


@cache
def public_api() -> PublicApi:
    """Made once."""
    api = PublicApi(
        title="Makerlab", version=VERSION, description=ABOUT, docs_url=None, openapi_url=None, urls_namespace="api"
    )
    api.get("/me", response=MeOut, url_name="me", tags=["token"], **needs())(_me)
    for part in (parts, room, runs, lab):
        api.add_router("", part.router)
    problems.teach(api)
    return api


def addresses() -> tuple[list[URLPattern], str, str]:
    """For ``include``: every address behind the door but the description, which says nothing of anybody."""
    patterns, app_name, namespace = public_api().urls
    kept = []
    for pattern in patterns:
        assert isinstance(pattern, URLPattern)
        if pattern.name == "api-root":
            continue
        pattern.callback = behind(pattern.callback, partial(_asked_at, str(pattern.pattern)))
        kept.append(pattern)
    kept.append(path("openapi.json", description, name="openapi-json"))
    kept.append(path("<path:rest>", behind(_nothing), name="nothing"))
    return kept, app_name, namespace
