"""What the room's pages share: finding things or 404, and doing a verb and telling what came of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils.functional import Promise

from makerlab.http import SignedInRequest
from printing import queries
from printing.models import Room
from printing.states import NotAllowedNow

CHOSEN_ROOM = "room"  # the key in the session


def own_room(request: SignedInRequest) -> Room | None:
    """The room of the school that this person has chosen, else its first; 404 for students. None while there is
    none."""
    if not request.user.is_staff_member:
        raise Http404
    return queries.room_of(request.user, request.session.get(CHOSEN_ROOM))


def one(rows: Any, pk: int) -> Any:
    """The row of a queryset that was narrowed to what this person may see or edit; 404 otherwise."""
    row = rows.filter(pk=pk).first()
    if row is None:
        raise Http404
    return row


def do(request: SignedInRequest, verb: Callable[[], Any], said: str | Promise = "") -> bool:
    """Do a verb and leave a message: what was done, or why not. 404 when the person may not know of it."""
    try:
        verb()
    except PermissionDenied as error:
        raise Http404 from error
    except NotAllowedNow as told:
        messages.error(request, str(told))
        return False
    if said:
        messages.success(request, str(said))
    return True


def is_fragment(request: SignedInRequest) -> bool:
    """Whether htmx asks for a part of the page."""
    return bool(request.htmx) and not request.htmx.boosted
