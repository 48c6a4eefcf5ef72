"""Give a lesson to classes: choose, see what it costs the room, confirm."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
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
from printing.giving.page import choices
from printing.giving.reckon import reckon
from printing.views.common import is_fragment, one, own_room

PAGE = "printing/giving.html"


@require_http_methods(["GET", "HEAD", "POST"])
def plan_give(request: SignedInRequest, pk: int) -> HttpResponse:
    """The form; sent with ``reckon`` the answer beside it, with ``choices`` what others would move, with ``give`` it is
    done."""
    plan = one(LessonPlan.objects.visible_to(request.user), pk)
    try:
        check_can_give(request.user, plan)
    except PermissionDenied as error:
        raise Http404 from error
    posted = request.POST if request.method == "POST" else None
    form = GiveForm(posted, plan=plan, user=request.user)
    context: dict[str, Any] = {"plan": plan, "form": form, "room": own_room(request)}
    if posted is not None and form.is_valid():
        if "give" in posted and _given(request, plan, form):
            return redirect("lessons:class-list")
        if "choices" in posted and is_fragment(request):
            return render(request, f"{PAGE}#choices", context | _choices(request, plan, form))
        context |= _answer(request, plan, form)
        if "choices" in posted:
            context |= _choices(request, plan, form)
    size = form.cleaned_data.get("team_size") if form.is_bound and hasattr(form, "cleaned_data") else None
    context["rows"] = [{**row, "teams": teams_of(row["class"], size or plan.group_size)} for row in form.rows()]
    return render(request, PAGE, context, status=422 if form.errors else 200)


def _given(request: SignedInRequest, plan: LessonPlan, form: GiveForm) -> bool:
    """Whether the classes got the lesson; what refuses it is said on the form."""
    try:
        made = give_plan(request.user, plan, form.gives(), form.limits())
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


def _answer(request: SignedInRequest, plan: LessonPlan, form: GiveForm) -> dict[str, Any]:
    """What it costs the room; nothing where there is no room with printers."""
    room = own_room(request)
    if room is None or not room.printers.exists():
        return {}
    now, parts = timezone.now(), list(plan.kit_parts.all())
    found = reckon(room, parts, form.gifts(), now)
    names = dict(
        Assignment.objects.visible_to(request.user)
        .filter(pk__in=[int(key) for key, _before, _after in found.rest])
        .values_list("pk", "school_class__name")
    )
    return {
        "found": found,
        "rest": [(names[int(key)], before, after) for key, before, after in found.rest if int(key) in names],
    }


def _choices(request: SignedInRequest, plan: LessonPlan, form: GiveForm) -> dict[str, Any]:
    """What other team sizes and ways of filling plates would move."""
    room = own_room(request)
    if room is None or not room.printers.exists():
        return {}
    return {"choices": choices(room, list(plan.kit_parts.all()), form, timezone.now())}
