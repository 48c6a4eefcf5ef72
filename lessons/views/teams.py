"""Teams of a class: by hand, drawn or mixed with a preview, names and trays."""

from __future__ import annotations

import secrets
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from lessons.actions import teams as verbs
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.class_forms import ProposalForm, TeamsForm
from lessons.classes.members import members_of
from lessons.models import SchoolClass, Team
from lessons.views.common import do, one, own_class
from makerlab.http import SignedInRequest

PAGE = "lessons/classes/class_teams.html"
USUAL_SIZE = 3
SEEDS = 10**6


@require_http_methods(["GET", "HEAD", "POST"])
def class_teams(request: SignedInRequest, pk: int) -> HttpResponse:
    """Who is in which team. ``?rule=&team_size=&seed=`` previews teams by rule; POST saves what was set by hand."""
    school_class = own_class(request, pk)
    if request.method != "POST":
        return _page(request, school_class, _teams_form(school_class))
    form = _teams_form(school_class, request.POST)
    if not form.is_valid():
        return _page(request, school_class, form, status=422)
    try:
        verbs.set_teams(request.user, school_class, form.placed(), form.named(), form.cleaned_data["seen"])
    except PermissionDenied as error:
        raise Http404 from error
    except ChangedMeanwhile as told:
        return _again(request, school_class, str(told))
    except NotPossible as told:
        form.add_error(None, str(told))
        return _page(request, school_class, form, status=422)
    messages.success(request, _("The teams are saved."))
    return redirect("lessons:class-teams", pk=pk)


def _again(request: SignedInRequest, school_class: SchoolClass, told: str) -> HttpResponse:
    """What was chosen, beside the teams as they are now, to be saved over them or not."""
    form = _teams_form(school_class)
    form = _teams_form(school_class, {**request.POST.dict(), "seen": form.seen_now})
    form.is_valid()
    kept = _("%(told)s Your choices are kept here; save again to put them in the place of theirs.")
    form.add_error(None, kept % {"told": told})
    return _page(request, school_class, form, status=422)


def _teams_form(school_class: SchoolClass, data: Any = None) -> TeamsForm:
    return TeamsForm(data, members=members_of(school_class), teams=list(school_class.teams.all()))


def _page(request: SignedInRequest, school_class: SchoolClass, form: TeamsForm, status: int = 200) -> HttpResponse:
    asked = "rule" in request.GET
    proposal_form = ProposalForm(
        request.GET if asked else None,
        initial={"rule": "drawn", "team_size": _usual_size(school_class), "seed": secrets.randbelow(SEEDS)},
    )
    context: dict[str, Any] = {
        "school_class": school_class,
        "form": form,
        "groups": form.groups(),
        "proposal_form": proposal_form,
        "seen": form.seen_now,
    }
    if asked and proposal_form.is_valid():
        context |= _proposed(school_class, proposal_form)
    return render(request, PAGE, context, status=status)


def _usual_size(school_class: SchoolClass) -> int:
    """The largest group size of the class's lessons, else three."""
    sizes = school_class.assignments.values_list("plan__group_size", flat=True)
    return max((size for size in sizes if size), default=USUAL_SIZE)


def _proposed(school_class: SchoolClass, form: ProposalForm) -> dict[str, Any]:
    values = form.cleaned_data
    proposal = verbs.proposal_for(school_class, form.rule_value(), values["team_size"], values["seed"])
    by_pk = {member.pk: member for member in members_of(school_class)}
    teams = list(school_class.teams.order_by("number"))
    shown = []
    for place, group in enumerate(proposal.teams):
        team = teams[place] if place < len(teams) else None
        shown.append({"team": team, "members": [by_pk[pk] for pk in group]})
    return {
        "proposal": proposal,
        "shown": shown,
        "empty_after": teams[len(proposal.teams) :],
        "asked": values,
        "another_seed": secrets.randbelow(SEEDS),
    }


@require_POST
def class_form_teams(request: SignedInRequest, pk: int) -> HttpResponse:
    """Save the teams a preview showed."""
    school_class = own_class(request, pk)
    form = ProposalForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Say how teams are formed, and how many students are in one."))
        return redirect("lessons:class-teams", pk=pk)
    values = form.cleaned_data

    def save() -> None:
        seen = request.POST.get("seen", "")
        verbs.form_teams(request.user, school_class, form.rule_value(), values["team_size"], values["seed"], seen)

    do(request, save, _("The teams are saved as shown."))
    return redirect("lessons:class-teams", pk=pk)


@require_POST
def class_add_team(request: SignedInRequest, pk: int) -> HttpResponse:
    """One more, empty team."""
    school_class = own_class(request, pk)
    do(request, lambda: verbs.make_team(request.user, school_class))
    return redirect("lessons:class-teams", pk=pk)


@require_POST
def team_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """An empty team without work."""
    team = one(Team.objects.editable_by(request.user).select_related("school_class"), pk)
    do(request, lambda: verbs.remove_team(request.user, team), _("%(team)s is removed.") % {"team": team})
    return redirect("lessons:class-teams", pk=team.school_class_id)
