"""Coast-downs of a team: write them down, take one out, see the loss they give."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST

from lessons.actions.refusals import NotPossible
from lessons.lab import coasting
from lessons.lab.typed import NotANumber, number_typed
from lessons.models import Coasting
from lessons.views.lab import chosen_team, lab_of
from makerlab.http import SignedInRequest, one

How = coasting.How
LABELS = {
    (How.TO_REST, "length"): _("Way from the mark to rest"),
    (How.TO_REST, "time"): _("Time from the mark to rest"),
    (How.MARKS, "marks"): _("Way between the marks"),
    (How.MARKS, "time"): _("Time between the marks"),
    (How.MARKS, "length"): _("Way from the second mark to rest"),
    (How.SPEED, "speed"): _("Speed at the mark"),
    (How.SPEED, "length"): _("Way from the mark to rest"),
}
WAYS = (
    (How.TO_REST.value, _("time to rest"), _("Start the watch when the cart passes the mark, stop it when it rests.")),
    (
        How.MARKS.value,
        _("time between two marks"),
        _(
            "Start the watch at the first mark, stop it at the second, then let the cart roll to rest. The longer the "
            "way between the marks, the better a hand can time it."
        ),
    ),
    (How.SPEED.value, _("speed at the mark"), _("For a light gate, or a film frame by frame beside a tape.")),
)


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
    asked = request.POST if posts else request.GET
    how = coasting.How(asked["how"]) if asked.get("how") in list(coasting.How) else coasting.How.TO_REST
    typed = {name: request.POST.get(name, "")[:40] for name in ("design", *coasting.LIMITS)}
    error = None
    if posts:
        try:
            values = {name: _number(name, typed[name]) for name in coasting.NEEDED[how]}
            coasting.add_coasting(request.user, assignment, team, experiment, typed["design"], how, values)
        except PermissionDenied as refused:
            raise Http404 from refused
        except NotPossible as told:
            error = told
        else:
            return redirect(f"{reverse('lessons:lab-coasting', args=[pk])}?team={team.pk}&how={how}")
    needed = coasting.NEEDED[how]
    page = coasting.coasting_page(assignment, experiment, team)
    context = {"page": page, "assignment": assignment, "typed": typed, "error": error, "how": how.value}
    context["ways"] = [(each, name) for each, name, _told in WAYS]
    context["told_how"] = next(told for each, _name, told in WAYS if each == how.value)
    context["fields"] = [(name, LABELS[how, name], typed[name], coasting.LIMITS[name][2]) for name in needed]
    return render(request, "lessons/lab/coasting.html", context, status=422 if error else 200)


def _number(name: str, text: str) -> float | None:
    try:
        return number_typed(text, coasting.LIMITS[name][2])
    except NotANumber as error:
        raise NotPossible(str(error), name) from error


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
