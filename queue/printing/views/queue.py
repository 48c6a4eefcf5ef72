"""The queue: what waits to be printed, in order, for those who may order it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from lessons.models import Assignment
from makerlab.http import SignedInRequest
from printing import actions, queries
from printing.actions.wanted import OPEN, used_g
from printing.effect_page import effect_of
from printing.models import PrintRequest, Room
from printing.queue_page import places, queue_rows
from printing.request_forms import BudgetForm, CopiesForm, UrgentForm
from printing.states import CopyState
from printing.views.common import do, is_fragment, one, own_room

PAGE = "printing/request_list.html"
DETAIL = "printing/request_detail.html"
CHANGE = "queue_change"  # the key in the session


def page(request: SignedInRequest, said: str = "", room: Room | None = None) -> HttpResponse:
    """The whole page, or for htmx its list, with what was said where a change is answered: what only asks again takes
    no words off the page. ``room``: as it was just read."""
    room = room or own_room(request)
    context: dict[str, Any] = {"room": room, "said": said}
    if room:
        job = queries.planning_job(room)
        plan = queries.newest_plan(room)
        context |= {
            "effect": effect_of(request.session.get(CHANGE), request.user, plan),
            "version": room.queue_version,
            "token": queries.board_token(room, job, every_min=10),
            "planning": job,
            "places": []
            if is_fragment(request)
            else places(request.user, getattr(request, "rooms", []), timezone.now()),
            "rows": queue_rows(request.user, room, plan),
        }
    context["answers"] = request.method == "POST"
    return render(request, f"{PAGE}#list" if is_fragment(request) else PAGE, context)


@require_safe
def request_list(request: SignedInRequest) -> HttpResponse:
    """The queue of this person's classes. While a plan is made the list asks again."""
    room = own_room(request)
    if room and is_fragment(request) and request.GET.get("since"):
        token = queries.board_token(room, queries.planning_job(room), every_min=10)
        if request.GET["since"] == token:
            return HttpResponse(status=204)
    return page(request, room=room)


@require_POST
def request_move(request: SignedInRequest, pk: int) -> HttpResponse:
    """One place up or down, if the queue is still as the person saw it."""
    found = one(PrintRequest.objects.editable_by(request.user).select_related("room"), pk)
    direction, version = request.POST.get("direction", ""), request.POST.get("version", "")
    before = request.POST.get("before", "")
    if direction not in {"up", "down", "to"} or not version.isdigit() or not (before.isdigit() or before == ""):
        raise Http404
    words = {"up": _("%(part)s moved up."), "down": _("%(part)s moved down."), "to": _("%(part)s moved.")}
    said = words[direction] % {"part": capfirst(str(found))}
    plan = queries.newest_plan(found.room)

    def move() -> int:
        if direction == "to":
            return actions.place_request(found, request.user, int(before) if before else None, int(version))
        return actions.move_request(found, request.user, direction, int(version))

    done = do(request, move)
    if done and plan is not None:
        request.session[CHANGE] = {"plan": plan.pk, "said": said}
    if is_fragment(request):
        return page(request, said if done else "")
    if done:
        messages.success(request, said)
    return redirect("printing:request-list")


def own_request(request: SignedInRequest, pk: int) -> PrintRequest:
    """A request this person may order; 404 otherwise."""
    related = ("room", "kit_part", "team", "submission", "assignment__school_class", "assignment__meeting")
    found: PrintRequest = one(PrintRequest.objects.editable_by(request.user).select_related(*related), pk)
    return found


@require_safe
def request_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """One request: where each copy is, and what can be changed about it."""
    return render(request, DETAIL, detail_context(request, own_request(request, pk)))


def detail_context(request: SignedInRequest, found: PrintRequest, **forms: Any) -> dict[str, Any]:
    copies = list(found.copies.exclude(state=CopyState.CANCELLED).select_related("plate__printer"))
    budget = getattr(found.assignment, "team_budget", None)
    used = used_g(found.assignment_id).get(found.team_id, 0.0) if found.team_id else None
    return {
        "request_": found,
        "copies": copies,
        "is_open": any(copy.state in OPEN for copy in copies),
        "budget": budget,
        "used_g": used,
        "over": bool(budget and used and used > budget.grams),
        "copies_form": CopiesForm(initial={"copies": len(copies)}),
        "urgent_form": UrgentForm(initial={"reason": found.urgent_because}),
        "budget_form": BudgetForm(initial={"grams": budget.grams if budget else None}),
        **forms,
    }


@require_POST
def request_copies(request: SignedInRequest, pk: int) -> HttpResponse:
    """More or fewer copies."""
    found = own_request(request, pk)
    form = CopiesForm(request.POST)
    if not form.is_valid():
        return render(request, DETAIL, detail_context(request, found, copies_form=form), status=422)
    wanted = form.cleaned_data["copies"]
    said = _("%(part)s: %(count)d copies.") % {"part": capfirst(str(found)), "count": wanted}
    return changed(request, found, lambda: actions.set_copies(found, request.user, wanted), said)


@require_POST
def request_hold(request: SignedInRequest, pk: int) -> HttpResponse:
    """Held back, or let go again."""
    found = own_request(request, pk)
    held = request.POST.get("held") == "yes"
    said = _("%(part)s is on hold.") if held else _("%(part)s is on hold no more.")
    said %= {"part": capfirst(str(found))}
    return changed(request, found, lambda: actions.hold_request(found, request.user, held), said)


@require_POST
def request_urgent(request: SignedInRequest, pk: int) -> HttpResponse:
    """Before all others, with a reason; or in its turn again."""
    found = own_request(request, pk)
    if request.POST.get("usual"):
        said = _("%(part)s is urgent no more.") % {"part": capfirst(str(found))}
        return changed(request, found, lambda: actions.make_urgent(found, request.user, ""), said)
    form = UrgentForm(request.POST)
    if not form.is_valid():
        return render(request, DETAIL, detail_context(request, found, urgent_form=form), status=422)
    reason = form.cleaned_data["reason"]
    said = _("%(part)s goes before all others: %(reason)s") % {"part": capfirst(str(found)), "reason": reason}
    return changed(request, found, lambda: actions.make_urgent(found, request.user, reason), said)


@require_POST
def request_budget(request: SignedInRequest, pk: int) -> HttpResponse:
    """What each team of the class of this request may have printed."""
    found = own_request(request, pk)
    form = BudgetForm(request.POST)
    if not form.is_valid():
        return render(request, DETAIL, detail_context(request, found, budget_form=form), status=422)
    grams = form.cleaned_data["grams"]
    do(request, lambda: actions.set_budget(found.assignment, request.user, grams), _("The budget is noted."))
    return redirect("printing:request-detail", pk=found.pk)


def changed(request: SignedInRequest, found: PrintRequest, verb: Callable[[], Any], said: str) -> HttpResponse:
    """Do it; the queue then shows what it did. Refused, the page of the request says why."""
    before = queries.newest_plan(found.room)
    if not do(request, verb, said):
        return redirect("printing:request-detail", pk=found.pk)
    if before is not None:
        request.session[CHANGE] = {"plan": before.pk, "said": said}
    return redirect("printing:request-list")


@require_POST
def request_cancel(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take what is not printing yet out of the queue."""
    found = one(PrintRequest.objects.editable_by(request.user).select_related("room"), pk)
    counts: list[int] = []
    plan = queries.newest_plan(found.room)
    if do(request, lambda: counts.append(actions.cancel_copies(found, request.user))):
        words = ngettext("%(count)d copy is no longer wanted.", "%(count)d copies are no longer wanted.", counts[0])
        messages.success(request, words % {"count": counts[0]})
        if plan is not None:
            request.session[CHANGE] = {"plan": plan.pk, "said": words % {"count": counts[0]}}
    return redirect("printing:request-list")


@require_POST
def assignment_room(request: SignedInRequest, pk: int) -> HttpResponse:
    """Print the rest of an assignment, and what will be ordered of it, in another room."""
    assignment = one(Assignment.objects.visible_to(request.user).select_related("school_class"), pk)
    chosen = request.POST.get("room", "")
    room = one(Room.objects.visible_to(request.user), int(chosen) if chosen.isdecimal() and len(chosen) < 10 else 0)
    moved: list[actions.Moved] = []
    if do(request, lambda: moved.append(actions.print_in(assignment, request.user, room))):
        said = _("%(class)s is printed in %(room)s from now on.") % {"class": assignment.school_class, "room": room}
        if moved[0].stay:
            said += " " + ngettext(
                "One request stays where it is: it has begun, or its file was taken.",
                "%(count)d requests stay where they are: they have begun, or their file was taken.",
                moved[0].stay,
            ) % {"count": moved[0].stay}
        messages.success(request, said)
    return redirect("printing:request-list")
