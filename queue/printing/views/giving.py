"""Give a lesson to classes: choose, see what it costs the room, confirm."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from lessons.actions.assignments import give_plan
from lessons.actions.refusals import NotPossible
from lessons.models import Assignment, LessonPlan
from lessons.permissions import check_can_give
from makerlab.http import SignedInRequest
from printing.giving.forms import GiveForm, teams_of
from printing.models import AssignmentRoom, Room
from printing.views.common import is_fragment, one, own_room

if TYPE_CHECKING:
    from printing.giving.page import OnGround

PAGE = "printing/giving.html"
NO_INFILLS = {"infills_asked": True}


@require_http_methods(["GET", "HEAD", "POST"])
def plan_give(request: SignedInRequest, pk: int) -> HttpResponse:
    """The form; sent with ``reckon`` the answer beside it, with ``choices`` what others would move, with ``infills``
    what other fillings would, with ``give`` it is done."""
    plan = one(LessonPlan.objects.visible_to(request.user), pk)
    try:
        check_can_give(request.user, plan)
    except PermissionDenied as error:
        raise Http404 from error
    posted = request.POST if request.method == "POST" else None
    form = GiveForm(posted, plan=plan, user=request.user, rooms=_rooms(request))
    context: dict[str, Any] = {"plan": plan, "form": form, "room": form.room()}
    if posted is not None and form.is_valid():
        if "give" in posted and _given(request, plan, form):
            return redirect("lessons:class-list")
        on = _ground(form)
        if "choices" in posted and is_fragment(request):
            return render(request, f"{PAGE}#choices", context | (_choices(plan, form, on) if on else {}))
        if "infills" in posted and is_fragment(request):
            return render(request, f"{PAGE}#infills", context | (_infills(plan, form, on) if on else NO_INFILLS))
        if on:
            context |= _answer(request, plan, form, on)
            context |= _choices(plan, form, on) if "choices" in posted else {}
            context |= _infills(plan, form, on) if {"choices", "infills"} & posted.keys() else {}
    size = form.cleaned_data.get("team_size") if form.is_bound and hasattr(form, "cleaned_data") else None
    context["rows"] = [{**row, "teams": teams_of(row["class"], size or plan.group_size)} for row in form.rows()]
    return render(request, PAGE, context, status=422 if form.errors else 200)


def _ground(form: GiveForm) -> OnGround | None:
    """The chosen room as it is, planned when it is first asked for; None where there is no room with printers."""
    from printing.giving.reckon import ground  # the planner: other pages need not carry it

    room = form.room()
    return cache(lambda: ground(room, timezone.now())) if room is not None and room.printers.exists() else None


def _rooms(request: SignedInRequest) -> list[Room]:
    """The school's rooms, the one this person has chosen first."""
    mine = own_room(request)
    rooms: list[Room] = getattr(request, "rooms", [])  # as they were just read
    return sorted(rooms, key=lambda room: (room != mine, room.pk))


def _given(request: SignedInRequest, plan: LessonPlan, form: GiveForm) -> bool:
    """Whether the classes got the lesson; what refuses it is said on the form."""
    try:
        with transaction.atomic():
            made = give_plan(request.user, plan, form.gives(), form.limits())
            room = form.room()
            if room is not None and len(form.rooms) > 1:
                AssignmentRoom.objects.bulk_create(AssignmentRoom(assignment=each, room=room) for each in made)
    except PermissionDenied as error:
        raise Http404 from error
    except NotPossible as told:
        form.add_error(None, str(told))
        return False
    said = ngettext(
        "%(count)d class has “%(plan)s” now. Its parts are ordered as you approve them.",
        "%(count)d classes have “%(plan)s” now. Their parts are ordered as you approve them.",
        len(made),
    )
    messages.success(request, said % {"count": len(made), "plan": plan})
    return True


def _answer(request: SignedInRequest, plan: LessonPlan, form: GiveForm, on: OnGround) -> dict[str, Any]:
    """What it costs the room."""
    from printing.giving.reckon import reckon

    found = reckon(on(), list(plan.kit_parts.all()), form.gifts())
    names = dict(
        Assignment.objects.visible_to(request.user)
        .filter(pk__in=[int(key) for key, _before, _after in found.rest])
        .values_list("pk", "school_class__name")
    )
    return {
        "found": found,
        "rest": [(names[int(key)], before, after) for key, before, after in found.rest if int(key) in names],
    }


def _choices(plan: LessonPlan, form: GiveForm, on: OnGround) -> dict[str, Any]:
    """What other team sizes and ways of filling plates would move."""
    from printing.giving.page import choices

    return {"choices": choices(on, list(plan.kit_parts.all()), form)}


def _infills(plan: LessonPlan, form: GiveForm, on: OnGround) -> dict[str, Any]:
    """What other fillings would move."""
    from printing.giving.page import falls, infills

    rows = infills(on, list(plan.kit_parts.select_related("plan")), form)
    return {
        "infills_asked": True,
        "infills": rows,
        "infills_wait": any(row.is_waiting for row in rows),
        "infills_fall": falls(rows),
    }
