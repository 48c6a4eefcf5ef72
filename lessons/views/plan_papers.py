"""A lesson on paper: the plan and the student's sheet as PDF, and the sheet as a page to print."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.text import get_valid_filename
from django.views.decorators.http import require_safe

from lessons.lab import charts
from lessons.models import LessonPlan
from lessons.plan_pages import PlanPage, plan_page
from lessons.views.common import one
from makerlab.http import SignedInRequest


def _page(request: SignedInRequest, pk: int) -> PlanPage:
    plans = LessonPlan.objects.visible_to(request.user).select_related("school", "adapted_from")
    return plan_page(one(plans, pk), request.user)


def _sent(pdf: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(pdf, content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="{get_valid_filename(name)}"'
    return answer


@require_safe
def plan_paper_pdf(request: SignedInRequest, pk: int) -> HttpResponse:
    """The plan for the teacher; students do not get the staff's side."""
    page = _page(request, pk)
    if request.user.is_student:
        raise Http404
    from lessons.plans.sheets import plan_pdf  # what sets type is loaded by who prints

    return _sent(plan_pdf(page), f"{page.plan.title}-plan.pdf")


@require_safe
def plan_sheet_pdf(request: SignedInRequest, pk: int) -> HttpResponse:
    """The student's sheet."""
    from lessons.plans.sheets import student_pdf

    page = _page(request, pk)
    return _sent(student_pdf(page), f"{page.plan.title}-sheet.pdf")


@require_safe
def plan_sheet(request: SignedInRequest, pk: int) -> HttpResponse:
    """The student's sheet as a page that prints well."""
    page = _page(request, pk)
    experiment = page.experiment
    context = {
        "plan": page.plan, "text": page.text, "meetings": page.meetings, "experiment": experiment,
        "tasks": [part for part in page.parts if part.redesignable and part.task],
    }  # fmt: skip
    if experiment is not None:
        predicted = experiment.predicted
        context |= {
            "trials": range(1, experiment.trials + 1),
            "tried": [charts.changed_with_unit(experiment, value) for value in experiment.tried],
            "predicted": None if predicted is None else charts.changed_with_unit(experiment, predicted),
            "chart": charts.blank_chart(experiment),
        }
    return render(request, "lessons/plans/sheet.html", context)
