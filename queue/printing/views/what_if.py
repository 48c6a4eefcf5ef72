"""What if it were otherwise: try it, compare it with the plan, apply or discard it."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.models import Assignment
from makerlab.http import SignedInRequest
from makerlab.work.models import Job
from printing.actions.whatif import consider_again, discard_what_if, try_what_if
from printing.models import Room, WhatIf
from printing.states import NotAllowedNow
from printing.views.common import do, is_fragment, one
from printing.views.plan import visible_room
from printing.whatif.apply import apply_what_if
from printing.whatif.changes import Changes
from printing.whatif.forms import WhatIfForm, assignments_ahead, initial_from, initial_of
from printing.whatif.page import comparison, newest_job
from printing.whatif.words import Names, lines, unattended_care

FORM = "printing/what_if_form.html"
PAGE = "printing/what_if.html"


@require_http_methods(["GET", "HEAD", "POST"])
def room_what_if(request: SignedInRequest, pk: int) -> HttpResponse:
    """The form, filled in from a remedy of the forecast or from an earlier try; sent, it is planned."""
    room = visible_room(request, pk)
    if request.method == "POST":
        form = WhatIfForm(request.POST, room=room, assignments=assignments_ahead(room, request.user))
        if form.is_valid():
            try:
                row = try_what_if(room, request.user, form.changes())
            except NotAllowedNow as told:
                form.add_error(None, str(told))
            else:
                return redirect("printing:what-if-detail", pk=row.pk)
        return _form(request, room, form, status=422)
    ahead = assignments_ahead(room, request.user)
    return _form(request, room, WhatIfForm(room=room, assignments=ahead, initial=_initial(request, room, ahead)))


def _initial(request: SignedInRequest, room: Room, ahead: list[Assignment]) -> dict[str, Any]:
    earlier = request.GET.get("from", "")
    if earlier.isdigit():
        row = mine(request, room).filter(pk=int(earlier)).first()
        if row is not None:
            return initial_of(Changes.from_json(row.changes), ahead)
    return initial_from({key: str(value) for key, value in request.GET.items()}, room, ahead)


def mine(request: SignedInRequest, room: Room | None = None) -> Any:
    """The person's own tries."""
    rows = WhatIf.objects.visible_to(request.user).filter(made_by=request.user).select_related("room__school")
    return rows if room is None else rows.filter(room=room)


def _form(request: SignedInRequest, room: Room, form: WhatIfForm, status: int = 200) -> HttpResponse:
    names = Names(room, request.user)
    context = {
        "room": room,
        "form": form,
        "care": unattended_care(),
        "earlier": [
            {"row": row, "words": "; ".join(line.words for line in lines(Changes.from_json(row.changes), names))}
            for row in mine(request, room)[:5]
        ],
    }
    return render(request, FORM, context, status=status)


def own_what_if(request: SignedInRequest, pk: int) -> WhatIf:
    row: WhatIf = one(mine(request), pk)
    return row


@require_safe
def what_if_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """Both plans side by side. Asks again while it is worked out."""
    row = own_what_if(request, pk)
    names = Names(row.room, request.user)
    job = newest_job(row)
    compared = comparison(row, names)
    progress = round(job.progress * 20) if job else 0
    token = f"{int(bool(compared))}.{progress}.{job.state if job else ''}.{row.room.revision}"
    if is_fragment(request) and request.GET.get("since") == token:
        return HttpResponse(status=204)
    context = {
        "row": row,
        "room": row.room,
        "lines": lines(Changes.from_json(row.changes), names),
        "compared": compared,
        "job": job if job and job.is_open else None,
        "error": job.error if job and job.state == Job.State.FAILED else "",
        "token": token,
        "stale": bool(compared) and row.answer.get("revision") != row.room.revision,
        "applied_at": parse_datetime(row.answer["applied_at"]) if row.answer.get("applied_at") else None,
    }
    return render(request, f"{PAGE}#board" if is_fragment(request) else PAGE, context)


@require_POST
def what_if_apply(request: SignedInRequest, pk: int) -> HttpResponse:
    """Make it so: all of it or nothing."""
    row = own_what_if(request, pk)
    said = _("It is so now; the room is planned again.")
    if do(request, lambda: apply_what_if(row, request.user), said):
        return redirect("printing:room-plan")
    return redirect("printing:what-if-detail", pk=row.pk)


@require_POST
def what_if_discard(request: SignedInRequest, pk: int) -> HttpResponse:
    """Forget it."""
    row = own_what_if(request, pk)
    room = row.room_id
    do(request, lambda: discard_what_if(row, request.user), _("It is forgotten; nothing was changed."))
    return redirect("printing:room-what-if", pk=room)


@require_POST
def what_if_again(request: SignedInRequest, pk: int) -> HttpResponse:
    """Plan it once more on the room as it stands."""
    row = own_what_if(request, pk)
    do(request, lambda: consider_again(row, request.user))
    return redirect("printing:what-if-detail", pk=row.pk)
