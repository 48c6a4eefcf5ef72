"""Begin a lesson, copy one, put it away and take it back; its versions, what changed, bringing one back."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.actions import plans as verbs
from lessons.actions.refusals import NotPossible
from lessons.models import LessonPlan, PlanVersion
from lessons.plan_forms import TitleForm
from lessons.plan_pages import plan_page
from lessons.plans.changes import changes_between
from lessons.views.common import do, tried
from lessons.views.plan_edit import own_plan
from makerlab.http import SignedInRequest


@require_http_methods(["GET", "HEAD", "POST"])
def plan_new(request: SignedInRequest) -> HttpResponse:
    """Begin a lesson: a name, then the editor."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    form = TitleForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        made: list[LessonPlan] = []
        if tried(form, lambda: made.append(verbs.make_plan(request.user, form.cleaned_data["title"]))):
            return redirect("lessons:plan-edit", pk=made[0].pk)
    return render(request, "lessons/plans/new.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def plan_copy(request: SignedInRequest, pk: int) -> HttpResponse:
    """Copy a lesson with its kit under a name of its own, to adapt it."""
    plan = own_plan(request, pk)
    proposed = _("%(title)s, adapted") % {"title": plan.title[:100]}
    form = TitleForm(request.POST if request.method == "POST" else None, initial={"title": proposed})
    if request.method == "POST" and form.is_valid():
        made: list[LessonPlan] = []
        if tried(form, lambda: made.append(verbs.copy_plan(request.user, plan, form.cleaned_data["title"]))):
            messages.success(request, _("Copied with its kit. Change what you like; the first one stays as it is."))
            return redirect("lessons:plan-edit", pk=made[0].pk)
    context = {"form": form, "plan": plan}
    return render(request, "lessons/plans/new.html", context, status=422 if form.errors else 200)


@require_POST
def plan_archive(request: SignedInRequest, pk: int) -> HttpResponse:
    plan = own_plan(request, pk)
    do(request, lambda: verbs.archive_plan(request.user, plan), _("Put away. It stands at the foot of the lessons."))
    return redirect("lessons:plan-list")


@require_POST
def plan_restore(request: SignedInRequest, pk: int) -> HttpResponse:
    plan = own_plan(request, pk)
    do(request, lambda: verbs.restore_plan(request.user, plan), _("Taken back out."))
    return redirect("lessons:plan-detail", pk=pk)


@require_safe
def plan_versions(request: SignedInRequest, pk: int) -> HttpResponse:
    """Every version with what changed after it, newest first."""
    plan = own_plan(request, pk)
    now = verbs.snapshot(plan)
    rows = []
    for version in plan.versions.select_related("saved_by"):
        rows.append((version, changes_between(version.fields, now)))
        now = version.fields
    return render(request, "lessons/plans/versions.html", {"plan": plan, "rows": rows})


def _version(plan: LessonPlan, number: int) -> PlanVersion:
    found = plan.versions.filter(number=number).select_related("saved_by").first()
    if found is None:
        raise Http404
    return found


@require_safe
def plan_version(request: SignedInRequest, pk: int, number: int) -> HttpResponse:
    """An old version as it read, and how it differs from the plan as it is now."""
    plan = own_plan(request, pk)
    version = _version(plan, number)
    fields = {name: version.fields.get(name, getattr(plan, name)) for name in verbs.OWN}
    old = LessonPlan(pk=plan.pk, school_id=plan.school_id, content=version.fields.get("content") or {}, **fields)
    page = plan_page(old, request.user)
    context = {
        "plan": plan, "version": version, "old": old, "text": page.text, "meetings": page.meetings,
        "changes": changes_between(version.fields, verbs.snapshot(plan)),
    }  # fmt: skip
    return render(request, "lessons/plans/version.html", context)


@require_POST
def plan_version_back(request: SignedInRequest, pk: int, number: int) -> HttpResponse:
    """Bring an old version back. ``version``: the one the person saw as newest."""
    plan = own_plan(request, pk)
    _version(plan, number)
    seen = request.POST.get("version", "")
    expected = int(seen) if seen.isascii() and seen.isdigit() and len(seen) < 10 else 0

    def verb() -> None:
        if verbs.bring_back(request.user, plan, number, expected).version == expected:
            raise NotPossible(_("That version reads as the lesson does now."))

    said = _("Version %(number)d is back. What stood here before is kept as a version too.") % {"number": number}
    done = do(request, verb, said)
    if done:
        return redirect("lessons:plan-detail", pk=pk)
    return redirect("lessons:plan-versions", pk=pk)
