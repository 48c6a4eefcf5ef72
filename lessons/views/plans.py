"""Lesson plans as teachers and students read them, and the kit's files."""

from __future__ import annotations

from django.db.models import Exists, OuterRef
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import get_valid_filename
from django.views.decorators.http import require_safe

from lessons.models import KitPart, LessonPlan
from lessons.plan_pages import given, plan_page
from makerlab.files import attachment
from makerlab.http import SignedInRequest


@require_safe
def plan_list(request: SignedInRequest) -> HttpResponse:
    """The plans somebody may see; a student with one plan goes straight to it. Plans that were put away stand apart,
    and only for who can take them back."""
    plans = list(LessonPlan.objects.visible_to(request.user).select_related("adapted_from").order_by("title", "pk"))
    if request.user.is_student and len(plans) == 1:
        return redirect("lessons:plan-detail", pk=plans[0].pk)
    writes = request.user.is_teacher or request.user.is_administrator
    context = {
        "plans": [plan for plan in plans if plan.archived_at is None or request.user.is_student],
        "put_away": [plan for plan in plans if plan.archived_at is not None] if writes else [],
        "writes": writes,
    }
    return render(request, "lessons/plan_list.html", context)


@require_safe
def plan_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """One plan: for staff all of it, for students what they need."""
    editable = LessonPlan.objects.editable_by(request.user).filter(pk=OuterRef("pk"))
    plans = LessonPlan.objects.visible_to(request.user).select_related("adapted_from").annotate(writes=Exists(editable))
    plan = plans.filter(pk=pk).first()
    if plan is None:
        raise Http404
    page, writes = plan_page(plan, request.user), bool(plan.writes)  # type: ignore[attr-defined]
    context = {
        "page": page,
        "plan": plan,
        "text": page.text,
        "meetings": page.meetings,
        "parts": page.parts,
        "cost": page.cost,
        "sets_print": writes,
        "manages": writes,
        "own_assignments": given(plan, request.user),
    }
    return render(request, "lessons/plan_detail.html", context)


@require_safe
def kit_part_file(request: SignedInRequest, pk: int) -> FileResponse:
    """The mesh of a kit part, as a download that no browser opens by itself."""
    part = KitPart.objects.visible_to(request.user).filter(pk=pk).first()
    if part is None or not part.file:
        raise Http404
    return attachment(part.file, get_valid_filename(part.file_name))
