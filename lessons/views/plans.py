"""Lesson plans as teachers and students read them, and the kit's files."""

from __future__ import annotations

from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import get_valid_filename
from django.views.decorators.http import require_safe

from lessons.models import KitPart, LessonPlan
from lessons.plan_pages import steps_by_meeting
from makerlab.files import attachment
from makerlab.http import SignedInRequest


@require_safe
def plan_list(request: SignedInRequest) -> HttpResponse:
    """The plans somebody may see; a student with one plan goes straight to it."""
    plans = list(LessonPlan.objects.visible_to(request.user).order_by("title", "pk"))
    if request.user.is_student and len(plans) == 1:
        return redirect("lessons:plan-detail", pk=plans[0].pk)
    return render(request, "lessons/plan_list.html", {"plans": plans})


@require_safe
def plan_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """One plan: for staff all of it, for students what they need."""
    plan = LessonPlan.objects.visible_to(request.user).filter(pk=pk).first()
    if plan is None:
        raise Http404
    parts = plan.kit_parts.select_related("gauge").defer("report", "picture")
    context = {"plan": plan, "text": plan.content, "meetings": steps_by_meeting(plan), "parts": parts}
    context |= {
        "sets_print": LessonPlan.objects.editable_by(request.user).filter(pk=plan.pk).exists(),
        "own_assignments": plan.assignments.editable_by(request.user).select_related("school_class", "meeting"),
    }
    return render(request, "lessons/plan_detail.html", context)


@require_safe
def kit_part_file(request: SignedInRequest, pk: int) -> FileResponse:
    """The mesh of a kit part, as a download that no browser opens by itself."""
    part = KitPart.objects.visible_to(request.user).filter(pk=pk).first()
    if part is None or not part.file:
        raise Http404
    return attachment(part.file, get_valid_filename(part.file_name))
