"""The editor of a lesson plan: rows that come and go without losing what was typed, a preview, and saving."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from lessons.actions import plans as verbs
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.models import LessonPlan
from lessons.plan_pages import kit_of, plan_page
from lessons.plans.checks import Checked
from lessons.plans.editor import PlanForm
from lessons.plans.editor.merging import merge
from lessons.plans.minutes import meeting_length, minutes_of
from lessons.plans.standards import STANDARDS, paraphrase
from lessons.views.common import one
from makerlab.http import SignedInRequest, is_fragment

PAGE = "lessons/plans/edit.html"


def own_plan(request: SignedInRequest, pk: int) -> LessonPlan:
    """The plan, if this person may change it; 404 otherwise."""
    found: LessonPlan = one(LessonPlan.objects.editable_by(request.user).select_related("adapted_from"), pk)
    return found


@require_http_methods(["GET", "HEAD", "POST"])
def plan_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """The editor. ``do``: save, preview, or what is done with a part or row (see PlanForm.do); without it nothing is
    saved."""
    plan = own_plan(request, pk)
    if request.method != "POST":
        return _page(request, plan, PlanForm.of_plan(plan))
    form = PlanForm.of_post(request.POST, plan)
    asked = request.POST.get("do", "")
    if asked == "save":
        return _save(request, plan, form)
    if not asked:
        return _page(request, plan, form, status=422)
    form.do(asked)
    return _page(request, plan, form, reads=is_fragment(request) or asked == "preview")


def _save(request: SignedInRequest, plan: LessonPlan, form: PlanForm) -> HttpResponse:
    checked = form.check()
    if checked.errors:
        return _page(request, plan, form, status=422)
    try:
        saved = verbs.save_plan(request.user, plan, form.version, checked.fields, checked.content)
    except ChangedMeanwhile:
        return _meanwhile(request, plan, form)
    except NotPossible as told:
        form.errors[told.field or "title", -1, ""] = str(told)
        return _page(request, plan, form, status=422)
    if saved.version == form.version:
        messages.info(request, _("Nothing was changed, so nothing was saved."))
    else:
        messages.success(request, _("Saved as version %(number)d.") % {"number": saved.version})
    return redirect("lessons:plan-detail", pk=plan.pk)


def _meanwhile(request: SignedInRequest, plan: LessonPlan, form: PlanForm) -> HttpResponse:
    """Somebody saved between: what they changed and this person did not is taken over, the rest stays as typed."""
    plan.refresh_from_db()
    merged = merge(plan, form)
    last = plan.versions.select_related("saved_by").first()
    who = last.saved_by.display_name if last and last.saved_by else _("Somebody")
    return _page(request, plan, merged.form, status=409, merged=merged, who=who)


def _page(
    request: SignedInRequest, plan: LessonPlan, form: PlanForm, status: int = 200, reads: bool = False, **more: Any
) -> HttpResponse:
    """``reads``: with the preview in it; else the page fetches it when somebody sees its place."""
    parts = list(kit_of(plan))
    context = {
        "plan": plan,
        "form": form,
        "own": form.own(),
        "standards": {code: paraphrase(code) for code in STANDARDS} if "standards" in form.opened else {},
        "needed": form.needed_cautions(bool(parts)),
        "length": meeting_length(plan.content, plan.school_id),
        "reads": reads,
        **(_previewed(request, plan, form, parts) if reads else {}),
        **more,
    }
    return render(request, PAGE, context, status=status)


@require_POST
def plan_preview(request: SignedInRequest, pk: int) -> HttpResponse:
    """How the lesson would read as it is typed now. Nothing is saved."""
    plan = own_plan(request, pk)
    form = PlanForm.of_post(request.POST, plan)
    return render(request, "lessons/plans/preview.html", _previewed(request, plan, form, list(kit_of(plan))))


def _previewed(request: SignedInRequest, plan: LessonPlan, form: PlanForm, parts: list[Any]) -> dict[str, Any]:
    typed = PlanForm(form.version, dict(form.typed), {name: list(rows) for name, rows in form.rows.items()})
    shown = as_typed(plan, typed.check())
    page = plan_page(shown, request.user, parts)
    minutes = minutes_of(shown.content, shown.meetings_count, meeting_length(shown.content, shown.school_id))
    return {
        "shown": shown,
        "text": page.text,
        "meetings": page.meetings,
        "parts": page.parts,
        "cost": page.cost,
        "minutes": minutes,
        "minutes_off": any(each.off for each in minutes),
        "minutes_sum": sum(each.planned for each in minutes),
    }


def as_typed(plan: LessonPlan, checked: Checked) -> LessonPlan:
    """The plan as it would be, in memory: what cannot be read yet is left as it is saved."""
    own = {name: value for name, value in checked.fields.items() if (name, -1, "") not in checked.errors}
    content = {**plan.content, **checked.content}
    if any(place[0] == "meeting_minutes" for place in checked.errors):
        content["meeting_minutes"] = plan.content.get("meeting_minutes")
    wrong = {row for part, row, column in checked.errors if part == "steps" and column in ("meeting", "minutes")}
    content["steps"] = [step for at, step in enumerate(content.get("steps") or []) if at not in wrong]
    fields = {name: own.get(name, getattr(plan, name)) for name in verbs.OWN}
    return LessonPlan(pk=plan.pk, school_id=plan.school_id, content=content, **fields)
