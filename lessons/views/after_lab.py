"""After the lab: the team's argument, the teacher's marks, and the paper worksheet."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.text import get_valid_filename
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.lab import actions, charts, queries
from lessons.lab.actions import ChangedMeanwhile, ReadingRefused
from lessons.lab.after import argument_page
from lessons.lab.cautions import lab_cautions
from lessons.lab.coasting import coasting_page
from lessons.lab.designs import designs_page
from lessons.lab.expectation import ExpectationPage, expectation_page
from lessons.lab.model_page import ModelPage, model_page
from lessons.lab.models import has_model
from lessons.views.lab import chosen_team, lab_of
from makerlab.http import SignedInRequest

FIELDS = ("says", "claim", "evidence", "reasoning")


@require_http_methods(["GET", "HEAD", "POST"])
def lab_argument(request: SignedInRequest, pk: int) -> HttpResponse:
    """Claim, evidence and reasoning of a team. What was typed while somebody else saved stays on the page."""
    assignment, experiment = lab_of(request, pk)
    asked = request.POST if request.method == "POST" else request.GET
    team = chosen_team(request, assignment, asked.get("team", ""))
    if team is None:
        return render(request, "lessons/lab/no_team.html", {"assignment": assignment})
    kept, status = None, 200
    if request.method == "POST":
        kept = {name: request.POST.get(name, "") for name in FIELDS}
        revision = request.POST.get("revision", "")
        try:
            actions.save_argument(request.user, assignment, team, int(revision) if revision.isdigit() else -1, **kept)
        except PermissionDenied as error:
            raise Http404 from error
        except ChangedMeanwhile as told:
            messages.error(request, str(told))
            status = 409
        else:
            messages.success(request, _("Saved."))
            return redirect(f"{reverse('lessons:lab-argument', args=[pk])}?team={team.pk}")
    page = argument_page(assignment, experiment, team, kept)
    may_mark = queries.may_lead(request.user, assignment)
    may_write = request.user.is_student or may_mark
    context = {"page": page, "assignment": assignment, "may_mark": may_mark, "may_write": may_write}
    return render(request, "lessons/lab/argument.html", context, status=status)


@require_POST
def lab_mark(request: SignedInRequest, pk: int) -> HttpResponse:
    """Give a team a level in one row of the rubric."""
    assignment, _experiment = lab_of(request, pk)
    team = chosen_team(request, assignment, request.POST.get("team", ""))
    row, level = request.POST.get("row", ""), request.POST.get("level", "")
    if team is None or request.user.is_student or not row.isdigit() or len(row) > 3:
        raise Http404
    try:
        actions.give_mark(
            request.user,
            assignment,
            team,
            int(row),
            int(level) if level.isdigit() else None,
            request.POST.get("comment", ""),
        )
    except PermissionDenied as error:
        raise Http404 from error
    except ReadingRefused as told:
        messages.error(request, str(told))
    return redirect(f"{reverse('lessons:lab-argument', args=[pk])}?team={team.pk}#rubric")


@require_safe
def lab_paper(request: SignedInRequest, pk: int) -> HttpResponse:
    """The worksheet for paper: tables to fill in and empty graph paper."""
    assignment, experiment = lab_of(request, pk)
    context = {
        "assignment": assignment,
        "cautions": lab_cautions(assignment),
        "experiment": experiment,
        "trials": range(1, experiment.trials + 1),
        "tried": [charts.changed_with_unit(experiment, value) for value in experiment.tried],
        "predicted": None
        if experiment.predicted is None
        else charts.changed_with_unit(experiment, experiment.predicted),
        "chart": charts.blank_chart(experiment),
    }
    return render(request, "lessons/lab/paper.html", context)


@require_safe
def lab_report_pdf(request: SignedInRequest, pk: int) -> HttpResponse:
    """A team's lab report as PDF."""
    from lessons.lab.report import lab_report  # what sets type is loaded by who prints

    assignment, experiment = lab_of(request, pk)
    team = chosen_team(request, assignment, request.GET.get("team", ""))
    if team is None:
        raise Http404
    expected: ExpectationPage | ModelPage | None = None
    coasting, asked = None, request.GET.get("design", "")
    if experiment.cart is None and has_model(experiment):
        expected = model_page(assignment, experiment, team, asked)
    if experiment.cart is not None:
        expected = expectation_page(assignment, experiment, team, asked)
        coasting = coasting_page(assignment, experiment, team)
    report = lab_report(argument_page(assignment, experiment, team), expected, coasting)
    answer = HttpResponse(report, content_type="application/pdf")
    name = get_valid_filename(f"{assignment.plan}-{assignment.school_class}-team-{team.number}.pdf")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@require_safe
def lab_designs(request: SignedInRequest, pk: int) -> HttpResponse:
    """Two designs of a team side by side: the part's figures, the readings, and Welch's test."""
    assignment, experiment = lab_of(request, pk)
    asked = request.GET
    team = chosen_team(request, assignment, asked.get("team", ""))
    if team is None:
        return render(request, "lessons/lab/no_team.html", {"assignment": assignment})
    page = designs_page(assignment, experiment, team, asked.get("before", ""), asked.get("after", ""))
    return render(request, "lessons/lab/designs.html", {"page": page, "assignment": assignment})
