"""The editor of a lesson's experiment: rows that come and go without losing what was typed, a preview, and saving."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.lab import charts
from lessons.lab.edit import ExperimentForm, experiment_of
from lessons.lab.edit_actions import save_experiment
from lessons.models import LessonPlan
from lessons.views.plan_edit import own_plan
from makerlab.http import SignedInRequest


@require_http_methods(["GET", "HEAD", "POST"])
def experiment_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """``do``: save, drop, or what is done with a row (see ExperimentForm.do); without ``do`` it is only shown."""
    plan = own_plan(request, pk)
    if request.method != "POST":
        return _page(request, plan, ExperimentForm.of_content(plan.version, plan.content))
    form = ExperimentForm.of_post(request.POST)
    asked = request.POST.get("do", "")
    if asked == "save":
        made = form.check(plan.content.get("experiment") or {})
        return _save(request, plan, form, made) if form.is_good else _page(request, plan, form, 422)
    if asked == "drop":
        return _save(request, plan, form, None)
    form.do(asked)
    return _page(request, plan, form)


def _save(
    request: SignedInRequest, plan: LessonPlan, form: ExperimentForm, made: dict[str, Any] | None
) -> HttpResponse:
    try:
        saved = save_experiment(request.user, plan, form.version, made)
    except ChangedMeanwhile:
        plan.refresh_from_db()
        form.version = plan.version
        return _page(request, plan, form, 409, meanwhile=True)
    except NotPossible as told:
        if told.field:
            form.errors[told.field, -1] = str(told)
        else:
            form.general.append(str(told))
        return _page(request, plan, form, 422)
    if saved.version == plan.version:
        messages.info(request, _("Nothing was changed, so nothing was saved."))
    else:
        messages.success(request, _("Saved as version %(number)d.") % {"number": saved.version})
    return redirect("lessons:plan-detail", pk=plan.pk)


def _page(
    request: SignedInRequest, plan: LessonPlan, form: ExperimentForm, status: int = 200, **more: Any
) -> HttpResponse:
    shown = ExperimentForm(form.version, form.typed, form.rows)
    experiment = experiment_of(shown, plan.content.get("experiment") or {})
    preview: dict[str, Any] = {"experiment": experiment, "lacking": _lacking(shown)}
    if experiment is not None:
        preview["values"] = [
            (charts.changed_with_unit(experiment, value), value == experiment.predicted) for value in experiment.values
        ]
        preview["trials"] = range(1, experiment.trials + 1)
        preview["graph"] = charts.blank_chart(experiment)
    context = {"plan": plan, "form": form, **preview, **more}
    return render(request, "lessons/lab/experiment_edit.html", context, status=status)


def _lacking(form: ExperimentForm) -> list[str]:
    """What is still wrong, each with the name of its field."""
    labels = {view.field.name: view.field.label for group in form.groups for view in group.fields}
    labels |= {view.about.name: view.about.label for group in form.groups for view in group.lists}
    return [f"{labels[name]}: {words}" for (name, _row), words in form.errors.items()] + form.general
