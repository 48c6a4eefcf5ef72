"""What filament has cost, for staff: all assignments, and one by team and part."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lessons.models import Assignment
from makerlab.http import SignedInRequest
from printing.costs import costs_of, totals
from printing.views.common import one

NEWEST = 40
RELATED = ("plan", "school_class", "meeting")


@require_safe
def assignment_costs(request: SignedInRequest) -> HttpResponse:
    """The newest assignments this person may see, with what each has cost."""
    if not request.user.is_staff_member:
        raise Http404
    assignments = Assignment.objects.visible_to(request.user).select_related(*RELATED)
    lines = totals(list(assignments.order_by("-meeting__starts_at", "-pk")[:NEWEST]))
    return render(request, "printing/cost_list.html", {"lines": lines})


@require_safe
def assignment_cost(request: SignedInRequest, pk: int) -> HttpResponse:
    """One assignment by team and by part."""
    if not request.user.is_staff_member:
        raise Http404
    assignment: Assignment = one(Assignment.objects.visible_to(request.user).select_related(*RELATED), pk)
    return render(request, "printing/cost_detail.html", {"costs": costs_of(assignment), "assignment": assignment})
