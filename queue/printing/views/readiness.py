"""How lab days stand: one meeting, one week, and a list to hand parts out by."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from lessons.models import Assignment, Meeting
from makerlab.http import SignedInRequest
from printing import queries
from printing.models import Room
from printing.readiness import Readiness, readiness_of, state_mark
from printing.views.common import one, own_room

PAPERS = ("a4", "letter")


def own_meeting(request: SignedInRequest, pk: int) -> Meeting:
    """A meeting of a class this member of staff may see; 404 otherwise."""
    if not request.user.is_staff_member:
        raise Http404
    meeting: Meeting = one(Meeting.objects.visible_to(request.user).select_related("school_class"), pk)
    return meeting


def read(request: SignedInRequest, assignments: QuerySet[Assignment]) -> list[Readiness]:
    """How the assignments stand by the plans in force, soonest first."""
    plans = [queries.newest_plan(room) for room in Room.objects.visible_to(request.user)]
    rows = assignments.select_related("plan", "school_class", "meeting").order_by("meeting__starts_at", "pk")
    return readiness_of(list(rows), [plan for plan in plans if plan])


@require_safe
def meeting_readiness(request: SignedInRequest, pk: int) -> HttpResponse:
    """Every part of every team, who is missing what, the forecast, and a text to remind with."""
    meeting = own_meeting(request, pk)
    found = read(request, Assignment.objects.visible_to(request.user).filter(meeting=meeting))
    context = {
        "meeting": meeting,
        "lessons": [(each, state_mark(each)) for each in found],
        "room": own_room(request),
        "now": timezone.now(),
    }
    return render(request, "printing/meeting_readiness.html", context)


@require_safe
def meeting_hand_out(request: SignedInRequest, pk: int) -> HttpResponse:
    """What lies in which tray for whom, for paper. ``?paper=`` a4 or letter."""
    meeting = own_meeting(request, pk)
    paper = request.GET.get("paper", "")
    context = {
        "meeting": meeting,
        "lessons": read(request, Assignment.objects.visible_to(request.user).filter(meeting=meeting)),
        "paper": paper if paper in PAPERS else PAPERS[0],
    }
    return render(request, "printing/meeting_hand_out.html", context)


@require_safe
def readiness_week(request: SignedInRequest) -> HttpResponse:
    """The lab days of one week. ``?week=`` any date in it; without one, this week, or the next when it is over."""
    if not request.user.is_staff_member:
        raise Http404
    monday = week_of(request.GET.get("week", ""))
    begin, end = (timezone.make_aware(datetime.combine(day, time())) for day in (monday, monday + timedelta(days=7)))
    in_week = Assignment.objects.visible_to(request.user).filter(
        meeting__starts_at__gte=begin, meeting__starts_at__lt=end
    )
    found = read(request, in_week)
    context: dict[str, Any] = {
        "lessons": [(each, state_mark(each)) for each in found],
        "monday": monday,
        "sunday": monday + timedelta(days=6),
        "before": monday - timedelta(days=7),
        "after": monday + timedelta(days=7),
        "totals": totals(found),
    }
    return render(request, "printing/readiness_week.html", context)


def week_of(text: str) -> date:
    """The Monday of the week. On a weekend the coming week, unless a date is named."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = timezone.localdate()
        day += timedelta(days=2 if day.weekday() > 4 else 0)
    return day - timedelta(days=day.weekday())


def totals(found: Sequence[Readiness]) -> dict[str, int]:
    """The week in four figures."""
    return {
        "missing": sum(each.designs - each.handed_in for each in found),
        "to_review": sum(each.to_review for each in found),
        "copies": sum(each.copies for each in found),
        "in_tray": sum(each.in_tray for each in found),
    }
