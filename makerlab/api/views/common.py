"""What the addresses share: keys, pages of a list, finding a row or 404."""

from __future__ import annotations

from typing import Annotated, Any, Generic, TypeVar

from django.db.models import QuerySet
from ninja import Query, Schema
from pydantic import AfterValidator, AwareDatetime, ConfigDict, Field

from makerlab.api.door import Token
from makerlab.api.scopes import Scope
from makerlab.http import one as one

LARGEST = 2**63 - 1
LIMIT_MOST = 100
Item = TypeVar("Item")


def _without_nul(text: str) -> str:
    if "\0" in text:
        raise ValueError("a text cannot hold the sign U+0000")
    return text


Key = Annotated[int, Field(ge=1, le=LARGEST)]
Limit = Annotated[int, Query(50, ge=1, le=LIMIT_MOST, description="how many at most")]
After = Annotated[Key | None, Query(None, description="go on after this id: `next` of the page before")]
Offset = Annotated[int, Query(0, ge=0, le=10_000, description="leave out that many")]
Since = Annotated[
    AwareDatetime | None,
    Query(None, description="only what changed since this moment (ISO 8601 with zone); overlap a minute when polling"),
]
Revision = Annotated[
    int | None, Query(None, ge=0, le=LARGEST, description="the revision seen last: 204 while nothing changed")
]
Text = Annotated[str, AfterValidator(_without_nul)]


class Sent(Schema):
    """What a program sends: a name nobody knows is told, not passed over."""

    model_config = ConfigDict(extra="forbid")


class Page(Schema, Generic[Item]):
    """Part of a list, by rising id. ``next`` is what to send as ``after`` for the rest; null on the last page."""

    items: list[Item]
    next: int | None


def page(rows: QuerySet[Any], limit: int, after: int | None) -> tuple[list[Any], int | None]:
    """The next ``limit`` rows by id, and after which id it goes on."""
    found = list((rows.filter(pk__gt=after) if after else rows).order_by("pk")[: limit + 1])
    shown = found[:limit]
    return shown, shown[-1].pk if len(found) > limit else None


def needs(*scopes: Scope) -> dict[str, Any]:
    """For an address: the scope a token needs, told in the description as well."""
    if not scopes:
        return {"auth": Token()}
    (scope,) = scopes
    return {"auth": Token(scope), "openapi_extra": {"x-scope": scope.value}}


def minutes(seconds: float | None) -> float | None:
    """Seconds as minutes with one decimal."""
    return None if seconds is None else round(seconds / 60, 1)
