"""Coast-downs of a team: write them down, take one out, see the loss they give."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from lessons.actions.refusals import NotPossible
from lessons.lab import coasting
from lessons.lab.edit import number_of
from lessons.models import Coasting
from lessons.views.lab import chosen_team, lab_of
from makerlab.http import SignedInRequest, one


@require_http_methods(["GET", "HEAD", "POST"])
def lab_coasting(request: SignedInRequest, pk: int) -> HttpResponse:
    """The page, and writing a coast-down down: 422 with what was typed where it cannot be taken."""
    assignment, experiment = lab_of(request, pk)
    if experiment.cart is None:
        raise Http404
    posts = request.method == "POST"
    team = chosen_team(request, assignment, (request.POST if posts else request.GET).get("team", ""))
    if team is None:
        return render(request, "lessons/lab/no_team.html", {"assignment": assignment})
    typed = {name: request.POST.get(name, "")[:40] for name in ("design", "length", "time")}
    error = None
    if posts:
        try:
            length, time = number_of(typed["length"]), number_of(typed["time"])
            coasting.add_coasting(request.user, assignment, team, experiment, typed["design"], length, time)
        except PermissionDenied as refused:
            raise Http404 from refused
        except NotPossible as told:
            error = told
        else:
            return redirect(f"{reverse('lessons:lab-coasting', args=[pk])}?team={team.pk}")
    page = coasting.coasting_page(assignment, experiment, team)
    context = {"page": page, "assignment": assignment, "typed": typed, "error": error}
    return render(request, "lessons/lab/coasting.html", context, status=422 if error else 200)


@require_POST
def coasting_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take a coast-down out."""
    rows = Coasting.objects.editable_by(request.user).select_related("assignment__school_class", "team")
    found: Coasting = one(rows, pk)
    try:
        coasting.remove_coasting(request.user, found.assignment, found.team, found)
    except PermissionDenied as refused:
        raise Http404 from refused
    return redirect(f"{reverse('lessons:lab-coasting', args=[found.assignment_id])}?team={found.team_id}")
