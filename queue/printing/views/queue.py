"""The queue: what waits to be printed, in order, for those who may order it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from makerlab.http import SignedInRequest
from printing import actions, queries
from printing.models import PrintRequest
from printing.queue_page import queue_rows
from printing.views.common import do, is_fragment, one, own_room

PAGE = "printing/request_list.html"


def page(request: SignedInRequest, said: str = "") -> HttpResponse:
    """The whole page, or for htmx its list with what was said."""
    room = own_room(request)
    context: dict[str, Any] = {"room": room, "said": said}
    if room:
        room.refresh_from_db()
        job = queries.planning_job(room)
        context |= {
            "version": room.queue_version,
            "token": queries.board_token(room, job, every_min=10),
            "planning": job,
            "rows": queue_rows(request.user, room, queries.newest_plan(room)),
        }
    return render(request, f"{PAGE}#list" if is_fragment(request) else PAGE, {**context, "oob": is_fragment(request)})


@require_safe
def request_list(request: SignedInRequest) -> HttpResponse:
    """The queue of this person's classes. While a plan is made the list asks again."""
    room = own_room(request)
    if room and is_fragment(request) and request.GET.get("since"):
        token = queries.board_token(room, queries.planning_job(room), every_min=10)
        if request.GET["since"] == token:
            return HttpResponse(status=204)
    return page(request)


@require_POST
def request_move(request: SignedInRequest, pk: int) -> HttpResponse:
    """One place up or down, if the queue is still as the person saw it."""
    found = one(PrintRequest.objects.editable_by(request.user).select_related("room"), pk)
    direction, version = request.POST.get("direction", ""), request.POST.get("version", "")
    if direction not in {"up", "down"} or not version.isdigit():
        raise Http404
    said = _("%(part)s moved up.") if direction == "up" else _("%(part)s moved down.")
    said %= {"part": capfirst(str(found))}
    done = do(request, lambda: actions.move_request(found, request.user, direction, int(version)))
    if is_fragment(request):
        return page(request, said if done else "")
    if done:
        messages.success(request, said)
    return redirect("printing:request-list")


@require_POST
def request_cancel(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take what is not printing yet out of the queue."""
    found = one(PrintRequest.objects.editable_by(request.user).select_related("room"), pk)
    counts: list[int] = []
    if do(request, lambda: counts.append(actions.cancel_copies(found, request.user))):
        words = ngettext("%(count)d copy is no longer wanted.", "%(count)d copies are no longer wanted.", counts[0])
        messages.success(request, words % {"count": counts[0]})
    return redirect("printing:request-list")
