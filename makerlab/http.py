"""The request as our views get it, and what all views do with it: find a row or 404, do a verb and tell of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest
from django.utils.functional import Promise
from django_htmx.middleware import HtmxDetails

from makerlab.accounts.models import User


class SignedInRequest(HttpRequest):
    """A request behind LoginRequiredMiddleware and HtmxMiddleware."""

    user: User
    htmx: HtmxDetails
    memberships: list[Any]  # a student's places (lessons.models.Membership), where the page has read them


def one(rows: Any, pk: int) -> Any:
    """The row of a queryset that was narrowed to what this person may see or edit; 404 otherwise."""
    row = rows.filter(pk=pk).first()
    if row is None:
        raise Http404
    return row


def done(request: HttpRequest, verb: Callable[[], Any], said: str | Promise, refusal: type[Exception]) -> bool:
    """Do a verb and leave a message: what was done, or the words of the ``refusal``. 404 when the person may not know
    of it."""
    try:
        verb()
    except PermissionDenied as error:
        raise Http404 from error
    except refusal as told:
        messages.error(request, str(told))
        return False
    if said:
        messages.success(request, str(said))
    return True


def is_fragment(request: SignedInRequest) -> bool:
    """Whether htmx asks for a part of the page."""
    return bool(request.htmx) and not request.htmx.boosted


def count_of(request: HttpRequest, place: str, count: int) -> None:
    """Keep how many things wait at a place (URL name) of the navigation, where the page has counted them anyway."""
    counted(request)[place] = count


def counted(request: HttpRequest) -> dict[str, int]:
    """What this request's page has counted, by URL name."""
    kept: dict[str, int] = request.__dict__.setdefault("counted_places", {})
    return kept
