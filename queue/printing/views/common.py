"""What the room's pages share: finding things or 404, and doing a verb and telling what came of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404
from django.utils.functional import Promise

from makerlab.http import SignedInRequest, done
from makerlab.http import is_fragment as is_fragment
from makerlab.http import one as one
from printing import queries
from printing.models import Room
from printing.states import NotAllowedNow

CHOSEN_ROOM = "room"  # the key in the session


def own_room(request: SignedInRequest) -> Room | None:
    """The room of the school that this person has chosen, else its first; 404 for students. None while there is
    none."""
    if not request.user.is_staff_member:
        raise Http404
    rooms = queries.rooms_of(request.user)
    request.rooms = rooms  # type: ignore[attr-defined]  # for the switch to the others (templatetags/room.py)
    return queries.room_of(rooms, request.session.get(CHOSEN_ROOM))


def do(request: SignedInRequest, verb: Callable[[], Any], said: str | Promise = "") -> bool:
    """Do a verb of the room and leave a message."""
    return done(request, verb, said, NotAllowedNow)
