"""The room plan page."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from makerlab.http import SignedInRequest
from printing import actions, queries
from printing.actions.ground import IMPROVE_PLAN, PLAN_ROOM
from printing.causes import sentence
from printing.changes_page import plans_for
from printing.models import Room
from printing.room_days import View
from printing.room_page import room_page
from printing.room_read import read_room
from printing.views.common import CHOSEN_ROOM, do, is_fragment, one, own_room

PAGE = "printing/room_plan.html"
LEGEND = (
    ("b-done", _("done")),
    ("b-run", _("printing")),
    ("b-plan", _("planned")),
    ("b-night", _("planned, runs unattended")),
    ("b-late", _("late for its lab day")),
)


@require_safe
def room_plan(request: SignedInRequest) -> HttpResponse:
    """Timetable and tables. ``?day=`` chooses the first day, ``?view=week``
    its week. The board asks with what it saw: 204 while that is so."""
    room = own_room(request)
    if room is None:
        return render(request, PAGE, {"room": None})
    if is_fragment(request) and "since" in request.GET:
        token = queries.board_token(room, queries.planning_job(room), every_min=5, now=timezone.now())
        if request.GET["since"] == token:
            return HttpResponse(status=204)
    return show_plan(request, room)


def show_plan(request: SignedInRequest, room: Room, status: int = 200, **more: Any) -> HttpResponse:
    """The page; ``more`` is what a form on it that was refused has to say."""
    now = timezone.now()
    plan, unseen = plans_for(room, request.user, now)
    read = read_room(room, request.user, plan)
    job = read.jobs.get(PLAN_ROOM)
    day = parse_day(request.GET.get("day", ""))
    view = View.WEEK if request.GET.get("view") == View.WEEK else View.DAY
    page = room_page(room, request.user, plan, read, day, now, view)
    context = {
        "room": room,
        "plan": plan,
        "planning": job,
        "improving": read.jobs.get(IMPROVE_PLAN),
        "failed": None if job else read.jobs.get(queries.FAILED),
        "token": queries.board_token(room, job, every_min=5, now=now),
        "day": day,
        "legend": LEGEND,
        "because": sentence(plan.causes, request.user) if plan else "",
        "page": page,
        "stands": page,
        "unseen": unseen,
        "evenings": read.evenings,
        "names": {str(key): given.school_class for key, given in read.given.items()},
    }
    return render(request, f"{PAGE}#board" if is_fragment(request) else PAGE, context | more, status=status)


def parse_day(text: str) -> date | None:
    """A date of the address; anything else means today."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@require_POST
def room_replan(request: SignedInRequest) -> HttpResponse:
    """Plan again although nothing changed: time has passed."""
    room = own_room(request)
    if room is not None:
        do(request, lambda: actions.plan_again(room, request.user), _("The room is planned again; the page follows."))
    return redirect("printing:room-plan")


@require_POST
def room_choose(request: SignedInRequest, pk: int) -> HttpResponse:
    """The pages of the room are about this one from now on, for this person in this browser."""
    room = one(Room.objects.visible_to(request.user), pk)
    request.session[CHOSEN_ROOM] = room.pk
    back = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}, require_https=request.is_secure()):
        back = reverse("printing:room-plan")
    return redirect(back)
